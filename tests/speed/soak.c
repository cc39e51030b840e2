/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A week at the bench within one process: thousands of items through the program's own sessions, on
 * a pseudo-terminal whose other end is the simulated tank in virtual time, with random faults from
 * a seed. Prints rows of a table and ends badly where something leaked or a trial was lost. soak
 * DIRECTORY RIG_FILE [DAYS [SEED]]     (the rig file names no port that matters)
 */
#include <dirent.h>
#include <fcntl.h>
#include <inttypes.h>
#include <math.h>
#include <poll.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "chance.h"
#include "session/session.h"
#include "tank.h"
#include "text/text.h"

enum fault {
    FAULT_NONE,
    FAULT_GONE,   /* the device hangs up */
    FAULT_SIGNAL, /* SIGTERM */
    FAULT_STOP,   /* the operator's word */
    FAULT_AGAIN,
    FAULT_SLIPS, /* a bit slips in every tenth reading, to the end of the run */
    FAULT_FROZEN,
    FAULT_TEMP,
    FAULT_CLOCK, /* the device begins anew */
    FAULTS
};

static const char *const fault_names[FAULTS] = {"none",
                                                "device gone",
                                                "signal",
                                                "stopped",
                                                "again",
                                                "bit slips",
                                                "stands still (30 s)",
                                                "temperature lost",
                                                "device's clock begins anew"};

static volatile sig_atomic_t signalled;

enum { TRIALS = 2, ITEMS_A_CALIBRATION = 150, CHUNK = 4096 };
static const double FAULT_CHANCE = 0.4, SECOND_FAULT_CHANCE = 0.3;

/* ---- the other end: the tank on its wire, and who does what is asked ---- */

struct bench_end {
    struct tank *tank;
    const char *gear;
    int wire, wire_hold, asks, answers; /* descriptors */
    char port[64];
    enum fault fault;
    unsigned long fault_at, asked; /* at this ask */
    unsigned long spoiling, samples;
    double clock_off_ms, frozen;
    unsigned long trials; /* told */
    char line[1 << 16];
    size_t length;
    uint64_t written;
};

static void put(int descriptor, const char *bytes, size_t length) {
    while (length > 0) {
        ssize_t done = write(descriptor, bytes, length);
        if (done <= 0) {
            return;
        }
        bytes += done;
        length -= (size_t)done;
    }
}

static size_t spoil(struct bench_end *end, char *line, size_t size, size_t length) {
    double time_ms = 0, counts = 0, temp_c = 0;
    if (end->spoiling == 0 || sscanf(line, "%lf,%lf,%lf", &time_ms, &counts, &temp_c) != 3) {
        return length;
    }
    end->samples++;
    if (end->fault == FAULT_SLIPS && end->samples % 10 == 0) {
        counts = (double)((0x800000 | ((int)counts & 0xFFFFFF) >> 1) - 0x1000000);
    } else if (end->fault == FAULT_FROZEN && end->samples < 300) {
        end->frozen = end->samples == 1 ? counts : end->frozen;
        counts = end->frozen;
    } else if (end->fault == FAULT_TEMP) {
        temp_c = -127;
    } else if (end->fault == FAULT_CLOCK) {
        end->clock_off_ms = end->samples == 1 ? time_ms : end->clock_off_ms;
        time_ms -= end->clock_off_ms;
    }
    return (size_t)snprintf(line, size, "%.0f,%.0f,%.3f\r\n", time_ms, counts, temp_c);
}

static void grant(struct bench_end *end, long samples) {
    char line[128];
    for (long i = 0; i < samples; i++) {
        size_t length = tank_sample(end->tank, line, sizeof line);
        length = spoil(end, line, sizeof line, length);
        put(end->wire, line, length);
        end->written += length;
    }
}

static void hang_up(struct bench_end *end) {
    close(end->wire);
    close(end->wire_hold);
    end->wire = end->wire_hold = -1;
}

static const char *cause(struct bench_end *end) {
    switch (end->fault) {
    case FAULT_GONE:
        hang_up(end);
        break;
    case FAULT_SIGNAL:
        signalled = SIGTERM;
        break;
    case FAULT_STOP:
        return "stop";
    case FAULT_AGAIN:
        return "again";
    case FAULT_SLIPS:
    case FAULT_FROZEN:
    case FAULT_TEMP:
    case FAULT_CLOCK:
        end->spoiling = 1;
        break;
    case FAULT_NONE:
    case FAULTS:
        break;
    }
    return "done";
}

static void answer(struct bench_end *end, const json_t *ask) {
    char text[96];
    const char *act = json_string_value(json_object_get(ask, "do"));
    const char *word = "done";
    int id = (int)json_integer_value(json_object_get(ask, "id"));
    bool number = strcmp(act, "read-temperature") == 0;
    if (end->asked++ == end->fault_at) {
        word = cause(end);
    }
    if (!number && strcmp(word, "done") == 0) {
        tank_act(end->tank, act, end->gear, json_number_value(json_object_get(ask, "mass_kg")),
                 tank_time_s(end->tank));
    }
    int length = number ? snprintf(text, sizeof text, "{\"id\":%d,\"value\":%.3f}\n", id,
                                   tank_thermometer_c(end->tank))
                        : snprintf(text, sizeof text, "{\"id\":%d,\"answer\":\"%s\"}\n", id, word);
    put(end->answers, text, (size_t)length);
}

static void hear(struct bench_end *end, const char *line) {
    json_t *event = json_loads(line, 0, NULL);
    const char *kind = json_string_value(json_object_get(event, "event"));
    if (kind != NULL && strcmp(kind, "ask") == 0) {
        answer(end, event);
    } else if (kind != NULL && strcmp(kind, "trial") == 0) {
        end->trials++;
    }
    json_decref(event);
}

/* False at the end of what the program says. */
static bool take_asks(struct bench_end *end) {
    ssize_t got = read(end->asks, end->line + end->length, sizeof end->line - end->length - 1);
    char *stop;
    if (got <= 0) {
        return false;
    }
    end->length += (size_t)got;
    end->line[end->length] = '\0';
    while ((stop = strchr(end->line, '\n')) != NULL) {
        *stop = '\0';
        hear(end, end->line);
        end->length -= (size_t)(stop + 1 - end->line);
        memmove(end->line, stop + 1, end->length + 1);
    }
    return true;
}

static void take_wire(struct bench_end *end) {
    char text[CHUNK];
    ssize_t got = read(end->wire, text, sizeof text - 1);
    if (got > 0) {
        text[got] = '\0';
        for (char *at = text; (at = strstr(at, "more ")) != NULL; at++) {
            grant(end, strtol(at + 5, NULL, 10));
        }
    }
}

static void *serve(void *context) {
    struct bench_end *end = context;
    struct pollfd entry[2];
    for (;;) {
        entry[0] = (struct pollfd){.fd = end->asks, .events = POLLIN};
        entry[1] = (struct pollfd){.fd = end->wire, .events = POLLIN};
        if (poll(entry, 2, -1) < 0) {
            continue;
        }
        if ((entry[1].revents & POLLIN) != 0) {
            take_wire(end);
        }
        if (entry[0].revents != 0 && !take_asks(end)) {
            return NULL;
        }
    }
}

static void open_wire(struct bench_end *end) {
    struct termios settings;
    end->wire = posix_openpt(O_RDWR | O_NOCTTY);
    if (end->wire < 0 || grantpt(end->wire) != 0 || unlockpt(end->wire) != 0 ||
        ptsname_r(end->wire, end->port, sizeof end->port) != 0) {
        perror("pseudo-terminal");
        exit(2);
    }
    end->wire_hold = open(end->port, O_RDWR | O_NOCTTY);
    tcgetattr(end->wire_hold, &settings);
    cfmakeraw(&settings);
    tcsetattr(end->wire_hold, TCSANOW, &settings);
}

/* ---- one run of the program's own code ---- */

struct soak {
    struct up_catalogue *catalogue;
    struct up_rig rig;
    struct tank *tank;
    struct chance *chance;
    double days, virtual_s;
    unsigned long items, runs, resumed, trials_told, lost, caused[FAULTS];
    uint64_t written;
};

struct job {
    const struct up_item *item; /* NULL: calibrate */
    const char *gear;
    const char *resume; /* as the settings have it */
    struct up_session_results *result;
    struct up_calibration *calibration;
};

static bool do_job(struct up_session_settings *settings, const struct job *job,
                   struct up_failure *failure) {
    static const struct up_calibrate_plan masses = {.mass_kg = {0.5, 1, 2, 4}, .masses = 4};
    settings->resume = job->resume;
    if (job->item == NULL) {
        return job->resume != NULL
                   ? up_session_resume_calibrate(settings, job->calibration, failure)
                   : up_session_calibrate(settings, &masses, job->calibration, failure);
    }
    /* Few draws: what is asked here is what stays behind, not how wide an interval is. */
    struct up_measure_plan plan = {
        .item = *job->item, .trials = TRIALS, .confidence = 0.95, .draws = 2000};
    return job->resume != NULL
               ? up_session_resume_measure(settings, job->item, job->result, failure)
               : up_session_measure(settings, &plan, job->result, failure);
}

static double chance(struct soak *soak) {
    return (double)chance_below(soak->chance, 1 << 20) / (1 << 20);
}

/* One run, with a fault in it or none; whether it came to its end is asked of the catalogue. */
static bool run_once(struct soak *soak, const struct job *job, enum fault fault,
                     struct up_failure *failure) {
    static struct bench_end end;
    int asks[2], answers[2];
    pthread_t thread;
    memset(&end, 0, sizeof end);
    end = (struct bench_end){.tank = soak->tank, .gear = job->gear, .fault = fault};
    end.fault_at = 1 + (unsigned long)(chance(soak) * 9);
    soak->caused[fault]++;
    open_wire(&end);
    if (pipe(asks) != 0 || pipe(answers) != 0) {
        perror("pipe");
        exit(2);
    }
    end.asks = asks[0];
    end.answers = answers[1];
    struct up_session_settings settings = {.catalogue = soak->catalogue,
                                           .rig = &soak->rig,
                                           .port = end.port,
                                           .operator_kind = UP_OPERATOR_JSON,
                                           .operator_input = answers[0],
                                           .operator_output = fdopen(asks[1], "w"),
                                           .no_exchange = true,
                                           .signalled = &signalled};
    double begin_s = tank_time_s(soak->tank);
    pthread_create(&thread, NULL, serve, &end);
    bool good = do_job(&settings, job, failure);
    fclose(settings.operator_output); /* the end of what is said: the other side leaves */
    pthread_join(thread, NULL);
    close(asks[0]);
    close(answers[0]);
    close(answers[1]);
    if (end.wire >= 0) {
        hang_up(&end);
    }
    soak->virtual_s += tank_time_s(soak->tank) - begin_s;
    soak->trials_told += end.trials;
    soak->written += end.written;
    soak->runs++;
    good = good && signalled == 0;
    signalled = 0;
    return good;
}

static enum fault draw_fault(struct soak *soak, double share) {
    return chance(soak) < share ? (enum fault)(1 + (int)(chance(soak) * (FAULTS - 1))) : FAULT_NONE;
}

/* To its end, gone on with as often as it is left. */
static void run_to_end(struct soak *soak, struct job *job) {
    struct up_failure failure = {0};
    enum fault fault = draw_fault(soak, FAULT_CHANCE);
    enum { TRIES = 8 };
    for (int i = 0; i < TRIES; i++) {
        bool good = run_once(soak, job, fault, &failure);
        bool stopped = fault == FAULT_STOP && job->item != NULL && job->result->results > 0 &&
                       job->result->result[0].trials < TRIALS;
        if (good && !stopped) {
            return;
        }
        bool nothing_left = strstr(failure.text, "nothing to continue") != NULL;
        if (nothing_left) {
            return;
        }
        soak->resumed++;
        job->resume = "";
        fault = draw_fault(soak, SECOND_FAULT_CHANCE);
    }
    printf("# given up after %d: %s\n", TRIES, failure.text);
    soak->lost++;
}

/* ---- what is there at the end, and at the middle ---- */

static long resident_kib(void) {
    long pages = 0;
    FILE *stream = fopen("/proc/self/statm", "r");
    if (stream != NULL && fscanf(stream, "%*d %ld", &pages) != 1) {
        pages = 0;
    }
    fclose(stream);
    return pages * (sysconf(_SC_PAGESIZE) / 1024);
}

static int open_descriptors(void) {
    int count = 0;
    DIR *list = opendir("/proc/self/fd");
    while (readdir(list) != NULL) {
        count++;
    }
    closedir(list);
    return count - 3; /* ".", ".." and the list itself */
}

struct seen {
    json_t *numbers; /* of a trial, by item: a bit each */
    unsigned long trials, twice;
    uint64_t plain; /* bytes of all bodies */
};

static bool see_trial(const struct up_record *record, void *context) {
    struct seen *seen = context;
    const char *item = json_string_value(json_object_get(record->content, "item_id"));
    json_int_t number = json_integer_value(json_object_get(record->content, "number"));
    json_int_t bits = json_integer_value(json_object_get(seen->numbers, item));
    seen->twice += (bits >> number & 1) != 0;
    seen->trials++;
    json_object_set_new(seen->numbers, item, json_integer(bits | (json_int_t)1 << number));
    return true;
}

static bool see_body(const struct up_record *record, void *context) {
    struct seen *seen = context;
    char *text = json_dumps(record->content, JSON_COMPACT);
    seen->plain += strlen(text);
    free(text);
    return true;
}

static uint64_t size_of(const char *directory) {
    uint64_t bytes = 0;
    DIR *list = opendir(directory);
    struct dirent *entry;
    while (list != NULL && (entry = readdir(list)) != NULL) {
        char *path = up_text_format("%s/%s", directory, entry->d_name);
        struct stat about;
        if (entry->d_name[0] != '.' && lstat(path, &about) == 0) {
            bytes += S_ISDIR(about.st_mode) ? size_of(path) : (uint64_t)about.st_size;
        }
        free(path);
    }
    if (list != NULL) {
        closedir(list);
    }
    return bytes;
}

static void row(const char *what, double value, const char *unit, const char *told) {
    printf("%-52s %12.6g %-10s %s\n", what, value, unit, told);
}

struct footprint {
    long resident_kib;
    int descriptors;
    uint64_t bytes;
    unsigned long items;
};

static struct footprint footprint(const struct soak *soak) {
    return (struct footprint){resident_kib(), open_descriptors(),
                              size_of(up_catalogue_directory(soak->catalogue)), soak->items};
}

static bool tell(const struct soak *soak, struct footprint middle, double took_s) {
    static const char *const kinds[] = {"item",  "calibration", "rig",     "run",
                                        "trial", "result",      "decision"};
    struct seen seen = {.numbers = json_object()};
    struct footprint last = footprint(soak);
    up_catalogue_each(soak->catalogue, "trial", see_trial, &seen, NULL);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        up_catalogue_each(soak->catalogue, kinds[i], see_body, &seen, NULL);
    }
    json_decref(seen.numbers);
    unsigned long wanted = soak->items * TRIALS;
    double first_each = (double)middle.bytes / (double)middle.items;
    double later_each = (double)(last.bytes - middle.bytes) / (double)(last.items - middle.items);
    bool none_lost = seen.trials == wanted && seen.twice == 0 && soak->lost == 0;
    bool flat = last.resident_kib - middle.resident_kib < 2048;
    bool closed = last.descriptors == middle.descriptors;
    bool grows = later_each < 1.05 * first_each;
    char told[120];
    row("soak: time at the bench, virtual", soak->virtual_s / 86400, "days", "");
    row("soak: time it took", took_s, "s", "");
    row("soak: items measured", (double)soak->items, "", "");
    snprintf(told, sizeof told, "%lu gone on with after a fault", soak->resumed);
    row("soak: runs", (double)soak->runs, "", told);
    for (int i = 1; i < FAULTS; i++) {
        snprintf(told, sizeof told, "soak:   with the fault: %s", fault_names[i]);
        row(told, (double)soak->caused[i], "", "");
    }
    snprintf(told, sizeof told, "%s: %lu planned, %lu twice, %lu told",
             none_lost ? "none lost" : "LOST", wanted, seen.twice, soak->trials_told);
    row("soak: trials stored", (double)seen.trials, "", told);
    snprintf(told, sizeof told, "%s: %.1f MiB after %lu items", flat ? "flat" : "NOT FLAT",
             (double)middle.resident_kib / 1024, middle.items);
    row("soak: memory at the end", (double)last.resident_kib / 1024, "MiB", told);
    snprintf(told, sizeof told, "%s: %d after %lu items", closed ? "flat" : "NOT FLAT",
             middle.descriptors, middle.items);
    row("soak: open descriptors at the end", last.descriptors, "", told);
    snprintf(told, sizeof told, "%s: %.1f KiB in the first %lu", grows ? "flat" : "GROWS",
             first_each / 1024, middle.items);
    row("soak: on the disk, an item", later_each / 1024, "KiB", told);
    snprintf(told, sizeof told, "%.0f MiB of the wire's bytes, %.0f MiB of records",
             (double)soak->written / 1048576, (double)seen.plain / 1048576);
    row("soak: on the disk in all", (double)last.bytes / 1048576, "MiB", told);
    return none_lost && flat && closed && grows;
}

/* ---- the week ---- */

static void begin_day(struct soak *soak, unsigned long seed) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    struct job job = {.calibration = calibration};
    tank_destroy(soak->tank);
    soak->tank = tank_create(&declared, &cell, seed);
    run_to_end(soak, &job);
    free(calibration);
}

static void measure_one(struct soak *soak) {
    size_t count = 0;
    const struct tank_item *gear = tank_gear(&count);
    const struct tank_item *one = &gear[soak->items % count];
    struct up_session_results *result = up_allocate(1, sizeof *result);
    struct up_item item = {.pieces = one->pieces,
                           .tolerance_g = 50,
                           .expansion_per_k = UP_EXPANSION_PER_K,
                           .u_expansion_per_k = UP_U_EXPANSION_PER_K,
                           .compressible = one->compressible};
    struct job job = {.item = &item, .gear = one->name, .result = result};
    struct up_failure failure = {0};
    snprintf(item.kind, sizeof item.kind, "%s", one->kind);
    snprintf(item.name, sizeof item.name, "%.60s %lu", one->name, soak->items + 1);
    if (!up_item_add(soak->catalogue, &item, &failure)) {
        printf("# %s\n", failure.text);
        exit(2);
    }
    run_to_end(soak, &job);
    soak->items++;
    free(result);
}

int main(int argc, char **argv) {
    struct soak soak = {
        .days = 7,
    };
    struct up_failure failure = {0};
    struct footprint middle = {0};
    struct timespec begin, end;
    double seed = 1;
    if (argc < 3 || (argc > 3 && !up_text_number(argv[3], strlen(argv[3]), &soak.days)) ||
        (argc > 4 && !up_text_number(argv[4], strlen(argv[4]), &seed))) {
        fprintf(stderr, "usage: soak DIRECTORY RIG_FILE [DAYS [SEED]]\n");
        return 2;
    }
    soak.chance = chance_begin((unsigned long)seed);
    if (freopen("/dev/null", "w", stderr) == NULL || !up_rig_load(argv[2], &soak.rig, &failure) ||
        !up_catalogue_open(argv[1], UP_CATALOGUE_CREATE, &soak.catalogue, &failure)) {
        printf("# %s\n", failure.text);
        return 2;
    }
    clock_gettime(CLOCK_MONOTONIC, &begin);
    for (unsigned long day = 0; soak.virtual_s < soak.days * 86400; day++) {
        begin_day(&soak, (unsigned long)seed * 1000 + day);
        for (int i = 0; i < ITEMS_A_CALIBRATION && soak.virtual_s < soak.days * 86400; i++) {
            measure_one(&soak);
            if (middle.items == 0 && soak.virtual_s > soak.days * 86400 / 4) {
                middle = footprint(&soak);
            }
        }
    }
    clock_gettime(CLOCK_MONOTONIC, &end);
    bool good =
        tell(&soak, middle,
             (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec));
    chance_end(soak.chance);
    tank_destroy(soak.tank);
    up_catalogue_close(soak.catalogue);
    return good ? 0 : 1;
}
