/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A rig file, asked for step by step, while a thread listens to the wire. The file is written once,
   when all is known and the program can read it; until then there is none. */
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>
#include <uuid/uuid.h>

#include "cli.h"
#include "operator/operator.h"
#include "session/hear.h"
#include "text/text.h"

const struct option_text options_setup[] = {
    OPTION_RIG,
    {"port", "PATH", "the port of the scale (default: you are asked)"},
    {"seconds", "S", "how long to listen at each rate (default 3)"},
    OPTION_CATALOGUE,
    OPTION_END};

/* Which tanks and scales a question is for. */
enum when { ALWAYS, TYPED, HEARD, SEA, POOL };

struct question {
    enum when when;
    const char *section, *key;
    const char *why; /* one line, which becomes the comment in the file too */
    const char *ask;
    double low, high; /* no number where both are 0: one of `words` */
    const char *words;
    const char *usual; /* for an empty answer; "" leaves the key out, NULL: there must be one */
};

static const struct question questions[] = {
    {TYPED, "line", "load_unit", "The unit that the scale shows.", "Unit", 0, 0, "kg g lb N", "kg"},
    {TYPED, "sensor", "division_counts", "The smallest step that the scale shows, in kg.",
     "Smallest step, kg", 1e-6, 10, NULL, "0.01"},
    {ALWAYS, "sensor", "capacity_kg",
     "The most that the scale or cell may carry, ballast included, in kg; it is printed on it.",
     "Capacity, kg", 0.01, 2000, NULL, NULL},
    {ALWAYS, "sensor", "u_thermometer_k", "How far the thermometer may be wrong, in degrees C.",
     "Thermometer, +- degrees C", 0.01, 5, NULL, "0.5"},
    {ALWAYS, "tank", "water", "What is in the tank: tap or lake water is fresh.", "Water", 0, 0,
     "fresh sea pool", "fresh"},
    {SEA, "tank", "salinity_g_kg",
     "How much salt is in it, in grams per kilogram; the ocean has 35.", "Salt, g/kg", 0.1, 42,
     NULL, NULL},
    {SEA, "tank", "u_salinity_g_kg", "How far that may be wrong, in grams per kilogram.",
     "Salt, +- g/kg", 0.01, 10, NULL, "1"},
    {POOL, "tank", "pool_salt_g_l", "How much salt is in the pool, in grams per litre.",
     "Salt, g/L", 0.1, 40, NULL, NULL},
    {ALWAYS, "tank", "area_m2",
     "The surface of the water in square metres: an item raises the level by it.",
     "Surface, m2 (length times width)", 0.001, 10000, NULL, ""},
    {ALWAYS, "tank", "line_diameter_mm", "How thick the line is that goes through the surface.",
     "Line, mm", 0.01, 50, NULL, ""},
    {ALWAYS, "tank", "depth_m", "How deep the middle of an item hangs below the surface.",
     "Depth, m", 0.05, 60, NULL, "0.4"},
    {ALWAYS, "tank", "ballast_kg",
     "Lead that always hangs under water, weighed dry: at least 1.5 times the strongest lift.",
     "Ballast, kg", 0.05, 500, NULL, NULL},
    {ALWAYS, "masses", "tolerance_rel",
     "How far your known masses may be wrong, as a share: 0.0005 is half a gram in a kilogram.",
     "Masses, share", 1e-7, 0.05, NULL, "0.0005"},
};

/* What the wire may leave open. */
static const struct question
    of_pty = {HEARD,
              "rig",
              "simulated",
              "The port is a pseudo-terminal, as a simulated scale has it: its results say so.",
              "Simulated",
              0,
              0,
              "yes no",
              NULL},
    of_step = {HEARD,
               "sensor",
               "division_counts",
               "Nothing changed on the scale, so the smallest step that it shows was not seen.",
               "Smallest step, kg",
               1e-6,
               10,
               NULL,
               NULL};

struct setup {
    char *section[5]; /* line, sensor, tank, masses, rig: "key = value" with comments */
    char id[UP_NAME_SIZE];
    char water[ANSWER_SIZE];
    bool typed;
    struct up_port port;
    struct up_probe *probe; /* of the thread while it listens */
    double seconds;
    pthread_t thread;
    bool listening;
};

static char **section_of(struct setup *setup, const char *name) {
    static const char *const names[] = {"line", "sensor", "tank", "masses", "rig"};
    size_t i = 0;
    while (strcmp(names[i], name) != 0) {
        i++;
    }
    return &setup->section[i];
}

/* A key with what it means above it. */
static void add_key(struct setup *setup, const struct question *question, const char *value) {
    char **to = section_of(setup, question->section);
    char *whole = up_text_format("%s; %s\n%s = %s\n", *to != NULL ? *to : "", question->why,
                                 question->key, value);
    free(*to);
    *to = whole;
}

/* ---- asking ---- */

static bool ask(const char *prompt, const char *usual, char answer[ANSWER_SIZE],
                struct up_failure *failure) {
    const char *in = usual != NULL && usual[0] != '\0' ? usual : "leave it out";
    printf(usual != NULL ? "%s [Enter: %s]: " : "%s: ", prompt, in);
    fflush(stdout);
    if (!up_operator_read_line(STDIN_FILENO, &signalled, answer, ANSWER_SIZE) ||
        strcmp(answer, "q") == 0) {
        putchar('\n');
        return up_fail(failure, UP_STATUS_UNABLE, "stopped: no rig file was written");
    }
    if (answer[0] == '\0' && usual != NULL) {
        snprintf(answer, ANSWER_SIZE, "%s", usual);
    }
    return true;
}

static bool is_one_of(const char *words, const char *answer) {
    size_t length = strlen(answer);
    for (const char *at = words; *at != '\0'; at += strcspn(at, " "), at += *at == ' ') {
        if (length > 0 && strcspn(at, " ") == length && strncmp(at, answer, length) == 0) {
            return true;
        }
    }
    return false;
}

static bool accepts(const struct question *question, char answer[ANSWER_SIZE]) {
    double number;
    char *comma = strchr(answer, ',');
    if (question->words != NULL) {
        return is_one_of(question->words, answer);
    }
    if (answer[0] == '\0' && question->usual != NULL) {
        return true;
    }
    if (comma != NULL) {
        *comma = '.';
    }
    return up_text_number(answer, strlen(answer), &number) && number >= question->low &&
           number <= question->high;
}

static bool put_question(struct setup *setup, const struct question *question,
                         struct up_failure *failure) {
    char answer[ANSWER_SIZE], *prompt;
    bool good;
    putchar('\n');
    up_text_paragraph(stdout, "", question->why);
    prompt = question->words != NULL ? up_text_format("%s (%s)", question->ask, question->words)
                                     : up_text_format("%s", question->ask);
    while ((good = ask(prompt, question->usual, answer, failure)) && !accepts(question, answer)) {
        if (question->words != NULL) {
            printf("Give one of: %s\n", question->words);
        } else {
            printf("Give a number from %g to %g, such as 1.25\n", question->low, question->high);
        }
    }
    free(prompt);
    if (good && answer[0] != '\0') {
        add_key(setup, question, answer);
    }
    if (good && strcmp(question->key, "water") == 0) {
        snprintf(setup->water, sizeof setup->water, "%s", answer);
    }
    return good;
}

static bool is_for(const struct setup *setup, enum when when) {
    switch (when) {
    case TYPED:
        return setup->typed;
    case SEA:
        return strcmp(setup->water, "sea") == 0;
    case POOL:
        return strcmp(setup->water, "pool") == 0;
    case HEARD:
        return false;
    case ALWAYS:
        break;
    }
    return true;
}

/* Random, so that no two benches take each other's calibrations for their own. */
static bool ask_id(struct setup *setup, struct up_failure *failure) {
    uuid_t random;
    char text[UUID_STR_LEN], usual[ANSWER_SIZE], answer[ANSWER_SIZE];
    uuid_generate_random(random);
    uuid_unparse_lower(random, text);
    snprintf(usual, sizeof usual, "bench-%.8s", text);
    up_text_paragraph(
        stdout, "",
        "The name of this bench, which no other bench may have: its calibrations belong to it.");
    bool good;
    while ((good = ask("Name, letters, digits and -", usual, answer, failure)) &&
           answer[strspn(answer, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                 "0123456789-")] != '\0') {
        puts("Use letters, digits and - only");
    }
    snprintf(setup->id, sizeof setup->id, "%.60s", answer);
    return good;
}

/* ---- the wire ---- */

static void *listen_to_port(void *context) {
    struct setup *setup = context;
    up_probe_port(setup->probe, setup->seconds, &signalled);
    return NULL;
}

static void begin_listening(struct setup *setup) {
    free(setup->probe);
    setup->probe = up_allocate(1, sizeof *setup->probe);
    setup->probe->port = setup->port;
    setup->listening = pthread_create(&setup->thread, NULL, listen_to_port, setup) == 0;
    if (!setup->listening) {
        listen_to_port(setup);
    }
    up_text_print(stdout, "Listening to %s meanwhile: leave the scale on.\n", setup->port.name);
}

static void end_listening(struct setup *setup) {
    if (setup->listening) {
        pthread_join(setup->thread, NULL);
        setup->listening = false;
    }
}

static bool ask_port(struct call *call, struct setup *setup) {
    const char *path = option_value(call, "port");
    struct up_port *ports = NULL;
    size_t count = 0;
    char answer[ANSWER_SIZE];
    bool good = up_ports_list(&ports, &count, call->failure);
    for (size_t i = 0; good && path == NULL && i < count; i++) {
        up_text_print(stdout, "  %s  %s\n", ports[i].name, ports[i].description);
    }
    if (good && path == NULL) {
        puts("\nThe port that the scale is plugged into; \"typed\" if you will type its readings.");
        good = ask("Port", count > 0 ? ports[0].name : "typed", answer, call->failure);
        path = answer;
    }
    if (good && strcmp(path, "typed") == 0) {
        setup->typed = true;
    } else if (good) {
        memset(&setup->port, 0, sizeof setup->port);
        setup->port.usb_vendor = setup->port.usb_product = -1;
        snprintf(setup->port.name, sizeof setup->port.name, "%s", path);
        for (size_t i = 0; i < count; i++) {
            if (strcmp(ports[i].name, path) == 0) {
                setup->port = ports[i];
            }
        }
    }
    free(ports);
    return good;
}

/* Until something was found that can be read, or the person stops. */
static bool hear_scale(struct setup *setup, struct up_failure *failure) {
    char answer[ANSWER_SIZE];
    end_listening(setup);
    while (!setup->probe->found) {
        putchar('\n');
        up_text_print(stdout, "%s: %s\n", setup->port.name, setup->probe->failure.text);
        if (!ask("Check the scale and its cable, then press Enter to listen again (q: stop)", NULL,
                 answer, failure)) {
            return false;
        }
        begin_listening(setup);
        end_listening(setup);
    }
    putchar('\n');
    up_text_print(stdout, "Heard on %s: %s\n", setup->port.name, setup->probe->guess.words);
    char *sensor = strstr(setup->probe->guess.line_section, "\n[sensor]");
    bool good = setup->probe->kind != UP_PORT_PTY || put_question(setup, &of_pty, failure);
    if (good && sensor != NULL && !setup->probe->guess.step_seen) {
        *sensor = '\0'; /* one that nobody saw would make results surer than they are */
        good = put_question(setup, &of_step, failure);
    }
    return good;
}

/* ---- the file ---- */

static char *make_file(const struct setup *setup) {
    const struct up_probe *probe = setup->probe;
    const char *line = setup->typed ? "[line]\nlayout = bare\n" : probe->guess.line_section;
    char *port = setup->typed ? up_text_format("[port]\n; You type what the scale shows.\n"
                                               "kind = typed\n")
                              : up_probe_port_section(probe);
    bool has_sensor = strstr(line, "[sensor]") != NULL;
    char *bench = up_probe_bench_section(setup->typed ? 0 : probe->rate_hz);
    char *text = up_text_format(
        "; Written by `upthrust setup`. `upthrust help rig` lists all keys.\n[rig]\n; No other "
        "bench "
        "may "
        "have this name.\nid = %s\n%s\n%s\n%s%s%s%s\n[tank]\n%s\n[masses]\n%s%s",
        setup->id, setup->section[4] != NULL ? setup->section[4] : "", port, line,
        setup->section[0] != NULL ? setup->section[0] : "", has_sensor ? "" : "\n[sensor]\n",
        setup->section[1], setup->section[2], setup->section[3], bench);
    free(bench);
    free(port);
    return text;
}

static bool put_text(FILE *stream, void *context) {
    return fputs(context, stream) != EOF;
}

static bool refuse_existing(const char *file, struct up_failure *failure) {
    return access(file, F_OK) != 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s already exists and is not changed: give --rig another name", file);
}

static bool write_file(const struct setup *setup, const char *file, struct up_failure *failure) {
    struct up_rig *rig = up_allocate(1, sizeof *rig);
    char *text = make_file(setup);
    bool good = up_rig_parse(file, text, rig, failure) && refuse_existing(file, failure) &&
                up_text_write_file(file, put_text, text, failure);
    free(text);
    free(rig);
    return good;
}

static bool ask_all(struct call *call, struct setup *setup) {
    puts("Answer each question; Enter takes what stands in brackets, q stops.\n");
    bool good = ask_id(setup, call->failure) && ask_port(call, setup);
    if (good && !setup->typed) {
        begin_listening(setup);
    }
    for (size_t i = 0; good && i < sizeof questions / sizeof questions[0]; i++) {
        if (is_for(setup, questions[i].when)) {
            good = put_question(setup, &questions[i], call->failure);
        }
    }
    return good && (setup->typed || hear_scale(setup, call->failure));
}

static bool check_rig(struct call *call, const char *file) {
    struct call next = {
        .option = {{"rig", file}, {"no-walk", ""}}, .options = 2, .failure = call->failure};
    if (option_given(call, "catalogue")) {
        next.option[next.options++] = (struct given){"catalogue", option_value(call, "catalogue")};
    }
    putchar('\n');
    up_text_print(stdout, "Written to %s. Now it is checked, as by `upthrust rig-check`.\n", file);
    bool good = command_rig_check(&next);
    up_catalogue_close(next.catalogue);
    call->status = next.status;
    if (good) {
        puts("Next, with your known masses:");
        up_text_print(stdout, "  upthrust calibrate --rig %s --masses-g 500,1000,2000\n", file);
    }
    return good;
}

bool command_setup(struct call *call) {
    const char *file = option_value(call, "rig");
    struct setup *setup = up_allocate(1, sizeof *setup);
    setup->seconds = 3;
    catch_signals();
    bool good = (file != NULL || refuse(call, "give --rig FILE: the rig file to be written")) &&
                option_number(call, "seconds", 0.2, 600, &setup->seconds) &&
                refuse_existing(file, call->failure) && ask_all(call, setup) &&
                write_file(setup, file, call->failure);
    if (setup->listening) { /* it ends with the program */
        pthread_detach(setup->thread);
    } else {
        free(setup->probe);
        for (size_t i = 0; i < sizeof setup->section / sizeof setup->section[0]; i++) {
            free(setup->section[i]);
        }
        free(setup);
    }
    die_of_signal();
    return good && check_rig(call, file);
}
