/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The simulated tank as a program: a load cell on a pseudo-terminal, and an operator on standard
 * input and output who does at the tank what the bench asks. rigs/README.md explains how to play
 * with it by hand.
 */
#define _GNU_SOURCE /* ptsname_r */
#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <jansson.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "tank.h"
#include "text/text.h"

enum { GRANT_MAX = 10000, LINE_SIZE = 65536, SCALE_STEP = 256 };

struct lines {
    char text[LINE_SIZE];
    size_t length;
};

struct program {
    struct tank *tank;
    unsigned long seed;
    double pace;
    double scale_step_kg; /* 0: counts, as a converter prints them; else a plain scale */
    const char *link;
    int master, slave;
    char port[128];
    struct lines asked, typed;
    char unsent[96]; /* the rest of a paced line for which there was no room */
    size_t unsent_length;
    double paced_from_s;
};

static volatile sig_atomic_t signalled;

static void note_signal(int number) {
    signalled = number;
}

static void complain(const char *what, const char *text) {
    char *safe = up_text_for_terminal(text);
    fprintf(stderr, "upthrust-tank: %s: %s\n", what, safe);
    free(safe);
}

static void print_json(json_t *json) {
    json_dumpf(json, stdout, JSON_COMPACT | JSON_REAL_PRECISION(15));
    putchar('\n');
    fflush(stdout);
    json_decref(json);
}

/* ---- the port ---- */

static bool make_raw(int descriptor) {
    struct termios settings;
    if (tcgetattr(descriptor, &settings) != 0) {
        return false;
    }
    cfmakeraw(&settings);
    return tcsetattr(descriptor, TCSANOW, &settings) == 0;
}

/* The slave end stays open here too: otherwise the master hangs up whenever a bench closes. */
static bool open_port(struct program *program) {
    program->master = posix_openpt(O_RDWR | O_NOCTTY);
    if (program->master < 0 || grantpt(program->master) != 0 || unlockpt(program->master) != 0 ||
        ptsname_r(program->master, program->port, sizeof program->port) != 0) {
        return false;
    }
    program->slave = open(program->port, O_RDWR | O_NOCTTY);
    if (program->slave < 0 || !make_raw(program->slave)) {
        return false;
    }
    if (program->pace > 0 && fcntl(program->master, F_SETFL, O_NONBLOCK) != 0) {
        return false;
    }
    return program->link == NULL || symlink(program->port, program->link) == 0;
}

static void send(int descriptor, const char *bytes, size_t length) {
    while (length > 0 && signalled == 0) {
        ssize_t put = write(descriptor, bytes, length);
        if (put > 0) {
            bytes += put;
            length -= (size_t)put;
        } else if (errno == EAGAIN) {
            struct pollfd entry = {.fd = descriptor, .events = POLLOUT};
            poll(&entry, 1, 100);
        } else if (errno != EINTR) {
            return;
        }
    }
}

/* A plain scale shows kilograms in steps, by its own idea of a kilogram, and nothing else. */
static size_t print_sample(struct program *program, char *line, size_t size) {
    size_t length = tank_sample(program->tank, line, size);
    double time_ms, counts, step_kg = program->scale_step_kg;
    if (step_kg > 0 && sscanf(line, "%lf,%lf", &time_ms, &counts) == 2) {
        struct tank_cell cell = tank_cell_default();
        double kg = (counts - cell.offset_counts) / cell.counts_per_kg;
        length = (size_t)snprintf(line, size, "%9.*f kg\r\n", step_kg < 0.01 ? 3 : 2,
                                  step_kg * round(kg / step_kg) + 0.0);
    }
    return length;
}

static void grant(struct program *program, long samples) {
    char line[96];
    for (long i = 0; i < samples; i++) {
        size_t length = print_sample(program, line, sizeof line);
        send(program->master, program->unsent, program->unsent_length);
        program->unsent_length = 0;
        send(program->master, line, length);
    }
}

static void send_unsent(struct program *program) {
    ssize_t put = program->unsent_length > 0
                      ? write(program->master, program->unsent, program->unsent_length)
                      : 0;
    if (put > 0) {
        program->unsent_length -= (size_t)put;
        memmove(program->unsent, program->unsent + put, program->unsent_length);
    }
}

/* A line unasked. Where nobody reads it is lost, as on a wire: a full pseudo-terminal must stop
   neither the tank nor the operator. What is sent is whole lines. */
static void print_state(struct program *program) {
    char line[sizeof program->unsent];
    size_t length = print_sample(program, line, sizeof line);
    send_unsent(program);
    if (program->unsent_length == 0) {
        memcpy(program->unsent, line, length);
        program->unsent_length = length;
        send_unsent(program);
    }
}

static void wire_line(struct program *program, const char *line) {
    double samples = 0;
    if (strncmp(line, "more ", 5) == 0 && up_text_number(line + 5, strlen(line + 5), &samples) &&
        samples >= 1 && samples <= GRANT_MAX && samples == floor(samples)) {
        if (program->pace <= 0) { /* one that talks unasked gives no more for being asked */
            grant(program, (long)samples);
        }
    } else {
        complain("ignored on the wire", line);
    }
}

/* ---- the operator: JSON ---- */

static const char *text_of(const json_t *json, const char *key) {
    return json_string_value(json_object_get(json, key));
}

static double number_of(const json_t *json, const char *key, double otherwise) {
    const json_t *value = json_object_get(json, key);
    return json_is_number(value) ? json_number_value(value) : otherwise;
}

static bool is_known(const char *act) {
    static const char *const acts[] = {"add-ballast", "empty-in-air",   "hang-in-air",
                                       "immerse",     "empty-in-water", "shake",
                                       "lift-out",    "hang-mass",      "hang-reference",
                                       "hang-level",  "lower-hanger",   "bare-hook"};
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        if (strcmp(act, acts[i]) == 0) {
            return true;
        }
    }
    return false;
}

static void answer_ask(struct program *program, const json_t *ask) {
    json_t *id = json_object_get(ask, "id");
    const char *act = text_of(ask, "do");
    double at_s = fmax(tank_time_s(program->tank), number_of(ask, "time_s", 0));
    const char *answer = "done";
    if (act == NULL || !json_is_integer(id)) {
        complain("an ask needs id and do", "");
        return;
    }
    if (strcmp(act, "read-temperature") == 0) {
        print_json(json_pack("{s:O, s:f}", "id", id, "value", tank_thermometer_c(program->tank)));
        return;
    }
    double number = number_of(ask, "mass_kg", number_of(ask, "depth_m", (double)NAN));
    if (strcmp(act, "confirm") != 0 &&
        !tank_act(program->tank, act, text_of(ask, "item"), number, at_s)) {
        answer = is_known(act) ? "stop" : "skip";
    }
    print_json(json_pack("{s:O, s:s}", "id", id, "answer", answer));
}

static double truth_of(struct program *program, const char *item, const char *water,
                       const json_t *ask) {
    if (water == NULL || strcmp(water, "tank") == 0) {
        return tank_truth_in_tank_g(program->tank, item);
    }
    if (json_is_true(json_object_get(ask, "rectangular"))) {
        return tank_truth_in_range_g(
            program->tank, item, water, number_of(ask, "density_kg_m3", (double)NAN),
            sqrt(3) * number_of(ask, "u_density_kg_m3", 0), number_of(ask, "temp_c", 20));
    }
    return tank_truth_in_water_g(
        program->tank, item, water, number_of(ask, "density_kg_m3", (double)NAN),
        number_of(ask, "u_density_kg_m3", 0), number_of(ask, "temp_c", 20));
}

static void json_line(struct program *program, const char *line) {
    json_t *json = json_loads(line, 0, NULL);
    const char *event = text_of(json, "event");
    const char *item = text_of(json, "truth");
    if (json == NULL) {
        complain("no JSON", line);
    } else if (event != NULL && strcmp(event, "ask") == 0) {
        answer_ask(program, json);
    } else if (item != NULL) {
        double truth_g = truth_of(program, item, text_of(json, "water"), json);
        print_json(json_pack("{s:s, s:o}", "truth", item, "truth_g",
                             isfinite(truth_g) ? json_real(truth_g) : json_null()));
    }
    json_decref(json);
}

/* ---- the operator: a person ---- */

static const char help_text[] =
    "[at SECONDS] bare-hook | add-ballast | empty-in-air | empty-in-water | lift-out\n"
    "[at SECONDS] hang-mass KG | hang-in-air ITEM | immerse ITEM | shake\n"
    "[at SECONDS] hang-reference BODY | hang-level ITEM | lower-hanger DEPTH_M\n"
    "truth ITEM | thermometer | gear | help | quit\n";

static void list_gear(void) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    for (size_t i = 0; i < count; i++) {
        puts(gear[i].name);
    }
}

static void do_typed(struct program *program, const char *act, const char *argument, double at_s) {
    double number = (double)NAN;
    up_text_number(argument, strlen(argument), &number);
    if (tank_act(program->tank, act, argument, number, at_s)) {
        printf("%s at %.1f s\n", act, at_s);
    } else {
        complain(is_known(act) ? "cannot be done now, or not with that" : "unknown: type help",
                 act);
    }
}

static bool take_time(char **line, double *at_s) {
    if (strncmp(*line, "at ", 3) == 0) {
        char *rest = strchr(*line + 3, ' ');
        double time_s = 0;
        if (rest == NULL || !up_text_number(*line + 3, (size_t)(rest - *line - 3), &time_s)) {
            return false;
        }
        *at_s = fmax(*at_s, time_s);
        *line = rest + 1;
    }
    return true;
}

static void typed_line(struct program *program, char *line) {
    double at_s = tank_time_s(program->tank);
    char *argument;
    if (!take_time(&line, &at_s)) {
        complain("at needs seconds and an act", line);
        return;
    }
    argument = strchr(line, ' ');
    if (argument != NULL) {
        *argument++ = '\0';
    }
    if (strcmp(line, "quit") == 0) {
        signalled = -1;
    } else if (strcmp(line, "help") == 0) {
        fputs(help_text, stdout);
    } else if (strcmp(line, "gear") == 0) {
        list_gear();
    } else if (strcmp(line, "thermometer") == 0) {
        printf("%.2f C\n", tank_thermometer_c(program->tank));
    } else if (strcmp(line, "truth") == 0 && argument != NULL) {
        printf("%.2f g\n", tank_truth_in_tank_g(program->tank, argument));
    } else {
        do_typed(program, line, argument != NULL ? argument : "", at_s);
    }
    fflush(stdout);
}

static void operator_line(struct program *program, char *line) {
    if (line[0] == '{') {
        json_line(program, line);
    } else if (line[0] != '\0') {
        typed_line(program, line);
    }
}

/* ---- the loop ---- */

/* Reads what is there and hands out whole lines; false at the end of the input. */
static bool take_input(struct program *program, int descriptor, struct lines *lines,
                       bool is_operator) {
    ssize_t got =
        read(descriptor, lines->text + lines->length, sizeof lines->text - 1 - lines->length);
    char *end;
    if (got <= 0) {
        return got < 0 && (errno == EINTR || errno == EAGAIN);
    }
    lines->length += (size_t)got;
    while ((end = memchr(lines->text, '\n', lines->length)) != NULL) {
        char line[LINE_SIZE];
        size_t length = (size_t)(end - lines->text);
        memcpy(line, lines->text, length);
        line[length > 0 && line[length - 1] == '\r' ? length - 1 : length] = '\0';
        lines->length -= length + 1;
        memmove(lines->text, end + 1, lines->length);
        if (is_operator) {
            operator_line(program, line);
        } else {
            wire_line(program, line);
        }
    }
    if (lines->length == sizeof lines->text - 1) {
        lines->length = 0;
        complain("a line without end", "dropped");
    }
    return true;
}

static double monotonic_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void keep_pace(struct program *program) {
    if (program->pace > 0) {
        double due_s = (monotonic_s() - program->paced_from_s) * program->pace;
        while (tank_time_s(program->tank) < due_s && signalled == 0) {
            print_state(program);
        }
    }
}

static void run(struct program *program) {
    bool operated = true;
    program->paced_from_s = monotonic_s();
    while (signalled == 0 && operated) {
        struct pollfd entry[2] = {{.fd = program->master, .events = POLLIN},
                                  {.fd = STDIN_FILENO, .events = POLLIN}};
        keep_pace(program);
        if (poll(entry, 2, program->pace > 0 ? 20 : -1) < 0) {
            continue;
        }
        if (entry[0].revents != 0) {
            take_input(program, program->master, &program->asked, false);
        }
        if (entry[1].revents != 0) {
            operated = take_input(program, STDIN_FILENO, &program->typed, true);
        }
    }
}

/* ---- beginning and end ---- */

static void print_gear(void) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        const struct tank_item *item = &gear[i];
        json_array_append_new(list, json_pack("{s:s, s:s, s:s, s:s, s:s, s:i, s:b, s:f}", "name",
                                              item->name, "kind", item->kind, "maker", item->maker,
                                              "model", item->model, "size", item->size, "pieces",
                                              item->pieces, "compressible", item->compressible,
                                              "trapped_g", item->trapped_kg * 1e3));
    }
    print_json(list);
}

static const char usage[] =
    "usage: upthrust-tank [--seed N] [--rate-hz N] [--scale-step-g G] [--pace X] [--link PATH]\n"
    "A simulated tank with a load cell, on a pseudo-terminal that it names on its first line.\n"
    "\n"
    "  --seed N        another session: other errors, noise, water (default 1)\n"
    "  --rate-hz N     samples a second: 1, 2, 10 or 80 (default 10)\n"
    "  --scale-step-g G print \"1.250 kg\" in steps of G grams, as a plain scale does\n"
    "  --pace X        send without being asked, X times real time; without it the tank stands "
    "still\n"
    "                  until the wire asks for samples with a line \"more N\"\n"
    "  --link PATH     a link to the pseudo-terminal, gone again at the end\n"
    "  --gear          list the gear that lies beside the tank, as JSON\n"
    "Acts are typed on standard input; \"help\" lists them.\n";

static int wrong(const char *what) {
    fprintf(stderr, "upthrust-tank: %s; see --help\n", what);
    return UP_STATUS_WRONG_INPUT;
}

struct settings {
    double seed, rate_hz, pace, scale_step_g;
    const char *link;
};

static bool take_number(const char *text, double low, double high, double *value) {
    return up_text_number(text, strlen(text), value) && *value >= low && *value <= high;
}

/* -1: go on; else the exit status. */
static int read_options(int argc, char **argv, struct settings *settings) {
    static const struct option options[] = {
        {"seed", 1, NULL, 's'},    {"rate-hz", 1, NULL, 'r'},
        {"pace", 1, NULL, 'p'},    {"link", 1, NULL, 'l'},
        {"gear", 0, NULL, 'g'},    {"help", 0, NULL, 'h'},
        {"version", 0, NULL, 'v'}, {"scale-step-g", 1, NULL, SCALE_STEP},
        {NULL, 0, NULL, 0}};
    bool good = true;
    int code;
    opterr = 0;
    while ((code = getopt_long(argc, argv, "", options, NULL)) != -1 && good) {
        if (code == 's') {
            good = take_number(optarg, 0, 1e9, &settings->seed);
        } else if (code == 'r') {
            good = take_number(optarg, 1, 80, &settings->rate_hz) &&
                   (settings->rate_hz <= 2 || settings->rate_hz == 10 || settings->rate_hz == 80) &&
                   settings->rate_hz == floor(settings->rate_hz);
        } else if (code == SCALE_STEP) {
            good = take_number(optarg, 0.1, 1000, &settings->scale_step_g);
        } else if (code == 'p') {
            good = take_number(optarg, 0.01, 1000, &settings->pace);
        } else if (code == 'l') {
            settings->link = optarg;
        } else if (code == 'g') {
            print_gear();
            return 0;
        } else if (code == 'h' || code == 'v') {
            fputs(code == 'h' ? usage : "upthrust-tank " UPTHRUST_VERSION "\n", stdout);
            return 0;
        } else {
            good = false;
        }
    }
    return good && optind == argc ? -1 : wrong("an option or its value is wrong");
}

static void catch_signals(void) {
    struct sigaction action = {.sa_handler = note_signal};
    sigemptyset(&action.sa_mask);
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    sigaction(SIGHUP, &action, NULL); /* the terminal was closed */
    signal(SIGPIPE, SIG_IGN);
}

int main(int argc, char **argv) {
    struct settings settings = {.seed = 1, .rate_hz = 10};
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct program program = {.master = -1, .slave = -1};
    int status = read_options(argc, argv, &settings);
    if (status >= 0) {
        return status;
    }
    cell.rate_hz = settings.rate_hz;
    cell.jitter_s = fmin(cell.jitter_s, 0.1 / cell.rate_hz);
    program.pace = settings.pace;
    program.scale_step_kg = settings.scale_step_g / 1e3;
    program.link = settings.link;
    program.tank = tank_create(&declared, &cell, (unsigned long)settings.seed);
    if (program.tank == NULL || !open_port(&program)) {
        complain("cannot open a pseudo-terminal or make its link", strerror(errno));
        tank_destroy(program.tank);
        return UP_STATUS_UNABLE;
    }
    catch_signals();
    print_json(json_pack("{s:s, s:s, s:i}", "event", "tank", "port", program.port, "seed",
                         (int)settings.seed));
    run(&program);
    if (program.link != NULL) {
        unlink(program.link);
    }
    tank_destroy(program.tank);
    if (signalled > 0) {
        signal(signalled, SIG_DFL);
        raise(signalled);
    }
    return 0;
}
