/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A rig file, asked for step by step, while a thread listens to the wire. The file is written once,
   when all is known and the program can read it; until then there is none. */
#include <math.h>
#include <pthread.h>
#include <stddef.h>
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
#include "upthrust/masses.h"

const struct option_text options_setup[] = {
    OPTION_RIG,
    {"port", "PATH", "the port of the scale (default: you are asked)"},
    {"seconds", "S", "how long to listen at each rate (default 3)"},
    OPTION_CATALOGUE,
    OPTION_END};

/* Which tanks, scales and masses a question is for. */
enum when { ALWAYS, TYPED, SEA, POOL, SHARE, BOTTLES, HEARD };

/* What is told of the tank and the masses, besides what the file has keys for. */
struct told {
    char water[ANSWER_SIZE], masses[ANSWER_SIZE];
    char item_m[ANSWER_SIZE], water_m[ANSWER_SIZE];
    char step_g[ANSWER_SIZE], known_g[ANSWER_SIZE], shown_g[ANSWER_SIZE], known_rel[ANSWER_SIZE],
        lightest_g[ANSWER_SIZE];
};
#define TOLD(member) offsetof(struct told, member) + 1

struct setup;

struct question {
    enum when when;
    const char *section, *key; /* NULL: it is no key of the file */
    const char *why;           /* one line, which becomes the comment in the file too */
    const char *ask;
    double low, high; /* no number where both are 0: one of `words` */
    const char *words;
    const char *usual; /* for an empty answer; "" leaves the key out, NULL: there must be one */
    size_t told;       /* where the answer is kept; 0: nowhere */
    bool (*check)(struct setup *setup); /* false: asked again, `back` questions before it too */
    unsigned back;
};
#define KEY(...)                                                                                   \
    { __VA_ARGS__, 0, NULL, 0 }

static bool is_deep_enough(struct setup *setup), is_not_too_wide(struct setup *setup);

static const struct question questions[] = {
    KEY(TYPED, "line", "load_unit", "The unit that the scale shows.", "Unit", 0, 0, "kg g lb N",
        "kg"),
    KEY(TYPED, "sensor", "division_counts", "The smallest step that the scale shows, in kg.",
        "Smallest step, kg", 1e-6, 10, NULL, "0.01"),
    KEY(ALWAYS, "sensor", "capacity_kg",
        "The most that the scale or cell may carry, ballast included, in kg; it is printed on it.",
        "Capacity, kg", 0.01, 2000, NULL, NULL),
    KEY(ALWAYS, "sensor", "u_thermometer_k", "How far the thermometer may be wrong, in degrees C.",
        "Thermometer, +- degrees C", 0.01, 5, NULL, "0.5"),
    {ALWAYS, "tank", "water", "What is in the tank: tap or lake water is fresh.", "Water", 0, 0,
     "fresh sea pool", "fresh", TOLD(water), NULL, 0},
    KEY(SEA, "tank", "salinity_g_kg",
        "How much salt is in it, in grams per kilogram; the ocean has 35.", "Salt, g/kg", 0.1, 42,
        NULL, NULL),
    KEY(SEA, "tank", "u_salinity_g_kg", "How far that may be wrong, in grams per kilogram.",
        "Salt, +- g/kg", 0.01, 10, NULL, "1"),
    KEY(POOL, "tank", "pool_salt_g_l", "How much salt is in the pool, in grams per litre.",
        "Salt, g/L", 0.1, 40, NULL, NULL),
    KEY(ALWAYS, "tank", "area_m2",
        "The surface of the water in square metres: an item raises the level by it.",
        "Surface, m2 (length times width)", 0.001, 10000, NULL, ""),
    KEY(ALWAYS, "tank", "line_diameter_mm", "How thick the line is that goes through the surface.",
        "Line, mm", 0.01, 50, NULL, ""),
    {ALWAYS, NULL, NULL,
     "How high the largest item is, as it hangs, in metres. A long fin may hang on its side.",
     "Height of the largest item, m", 0.02, 5, NULL, "0.7", TOLD(item_m), NULL, 0},
    {ALWAYS, NULL, NULL, "How deep the water is, in metres.", "Depth of the water, m", 0.05, 60,
     NULL, NULL, TOLD(water_m), is_deep_enough, 1},
    KEY(ALWAYS, "tank", "depth_m", "How deep the middle of an item hangs below the surface.",
        "Depth, m", 0.05, 60, NULL, NULL),
    KEY(ALWAYS, "tank", "ballast_kg",
        "Lead that always hangs under water, weighed dry: at least 1.5 times the strongest lift.",
        "Ballast, kg", 0.05, 500, NULL, NULL),
    {ALWAYS, NULL, NULL,
     "What your known masses are: a set of a class of OIML R 111 (it is stamped on the set or its "
     "certificate), closed bottles of water, or others whose error you know as a share.",
     "Masses", 0, 0, "E2 F1 F2 M1 M2 M3 bottles share", "share", TOLD(masses), NULL, 0},
    KEY(SHARE, "masses", "tolerance_rel",
        "How far your known masses may be wrong, as a share: 0.0005 is half a gram in a kilogram.",
        "Masses, share", 1e-7, 0.05, NULL, "0.0005"),
    {BOTTLES, NULL, NULL,
     "Fill bottles with water, close them, dry them and weigh each one whole. The smallest step of "
     "the scale that weighs them, in grams.",
     "Step of that scale, g", 0.001, 100, NULL, "1", TOLD(step_g), NULL, 0},
    {BOTTLES, NULL, NULL,
     "Check that scale with a mass that you know, about as heavy as a bottle, in grams.",
     "Known mass, g", 1, 100000, NULL, NULL, TOLD(known_g), NULL, 0},
    {BOTTLES, NULL, NULL, "How far that known mass may be wrong, as a share.", "Known mass, share",
     1e-7, 0.05, NULL, "0.0005", TOLD(known_rel), NULL, 0},
    {BOTTLES, NULL, NULL, "What the scale shows for it, in grams.", "It shows, g", 1, 100000, NULL,
     NULL, TOLD(shown_g), NULL, 0},
    {BOTTLES, NULL, NULL, "What the scale shows for the lightest bottle, in grams.",
     "Lightest bottle, g", 1, 100000, NULL, NULL, TOLD(lightest_g), is_not_too_wide, 4},
};

/* What the wire may leave open. */
static const struct question
    of_pty = KEY(HEARD, "rig", "simulated",
                 "The port is a pseudo-terminal, as a simulated scale has it: its results say so.",
                 "Simulated", 0, 0, "yes no", NULL),
    of_step = KEY(HEARD, "sensor", "division_counts",
                  "Nothing changed on the scale, so the smallest step that it shows was not seen.",
                  "Smallest step, kg", 1e-6, 10, NULL, NULL);

/* Air over an item, water under it and the ballast below that: a hand's breadth each (a choice of
   ours). */
static const double HAND_M = 0.1;

struct setup {
    char *section[5]; /* line, sensor, tank, masses, rig: "key = value" with comments */
    char id[UP_NAME_SIZE];
    struct told told;
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

/* A key with what it means above it; without one, only that. */
static void add_key(struct setup *setup, const char *section, const char *why, const char *key,
                    const char *value) {
    char **to = section_of(setup, section);
    char *whole =
        up_text_format("%s; %s\n%s%s%s%s", *to != NULL ? *to : "", why, key,
                       value[0] != '\0' ? " = " : "", value, value[0] != '\0' ? "\n" : "");
    free(*to);
    *to = whole;
}

static double number_of(const char *answer) {
    double number = (double)NAN;
    up_text_number(answer, strlen(answer), &number);
    return number;
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

/* Asked for is a half-width, and nothing more is known: a rectangular distribution (GUM 4.3.7). */
static void add_u(struct setup *setup, const struct question *question, const char *answer) {
    char u[ANSWER_SIZE];
    UP_FREED char *why = up_text_format(
        "%s Given as +-%s; the standard uncertainty is that over sqrt(3) (GUM 4.3.7).",
        question->why, answer);
    snprintf(u, sizeof u, "%.3g", number_of(answer) / sqrt(3));
    add_key(setup, question->section, why, question->key, u);
}

static bool put_question(struct setup *setup, const struct question *question,
                         struct up_failure *failure) {
    char answer[ANSWER_SIZE], middle[ANSWER_SIZE], *prompt;
    const char *usual = question->usual;
    bool good;
    if (question->section != NULL && strcmp(question->key, "depth_m") == 0) {
        snprintf(middle, sizeof middle, "%.2f", HAND_M + number_of(setup->told.item_m) / 2);
        usual = middle;
    }
    putchar('\n');
    up_text_paragraph(stdout, "", question->why);
    prompt = question->words != NULL ? up_text_format("%s (%s)", question->ask, question->words)
                                     : up_text_format("%s", question->ask);
    while ((good = ask(prompt, usual, answer, failure)) && !accepts(question, answer)) {
        if (question->words != NULL) {
            printf("Give one of: %s\n", question->words);
        } else {
            printf("Give a number from %g to %g, such as %.3g\n", question->low, question->high,
                   usual != NULL && usual[0] != '\0' ? number_of(usual)
                                                     : sqrt(question->low * question->high));
        }
    }
    free(prompt);
    if (good && answer[0] != '\0' && question->section != NULL) {
        strncmp(question->key, "u_", 2) == 0
            ? add_u(setup, question, answer)
            : add_key(setup, question->section, question->why, question->key, answer);
    }
    if (good && question->told > 0) {
        snprintf((char *)&setup->told + question->told - 1, ANSWER_SIZE, "%s", answer);
    }
    return good;
}

static bool is_for(const struct setup *setup, enum when when) {
    switch (when) {
    case TYPED:
        return setup->typed;
    case SEA:
        return strcmp(setup->told.water, "sea") == 0;
    case POOL:
        return strcmp(setup->told.water, "pool") == 0;
    case HEARD:
        return false;
    case SHARE:
        return strcmp(setup->told.masses, "share") == 0;
    case BOTTLES:
        return strcmp(setup->told.masses, "bottles") == 0;
    case ALWAYS:
        break;
    }
    return true;
}

/* ---- what is checked ---- */

static bool is_deep_enough(struct setup *setup) {
    char text[200];
    double item_m = number_of(setup->told.item_m), water_m = number_of(setup->told.water_m),
           needed_m = item_m + 3 * HAND_M;
    if (water_m < needed_m - 1e-9) {
        printf("Too shallow: it needs %.2f m of water. A barrel, a bin or a bath is deeper than a "
               "bucket; or say how the item hangs less high.\n",
               needed_m);
        return false;
    }
    snprintf(
        text, sizeof text,
        "The largest item is %.2f m high as it hangs and needs %.2f m of water (a hand's breadth "
        "over it, under it and for the ballast); there are %.2f m.",
        item_m, needed_m, water_m);
    add_key(setup, "tank", text, "", "");
    return true;
}

/* Rounded up in its second digit. */
static void write_share(double share, char text[ANSWER_SIZE]) {
    double digit = pow(10, floor(log10(share)) - 1);
    snprintf(text, ANSWER_SIZE, "%.2g", ceil(share / digit - 1e-9) * digit);
}

/* What a scale shows for a closed bottle is its conventional mass, whatever its density: nothing is
   to be corrected as long as the air is the same. */
static bool is_not_too_wide(struct setup *setup) {
    static const double MOST = 0.05;
    const struct told *told = &setup->told;
    struct up_scale_check scale = {number_of(told->step_g), number_of(told->known_g),
                                   number_of(told->shown_g), number_of(told->known_rel)};
    double share = up_weighed_tolerance_rel(&scale, number_of(told->lightest_g));
    char text[ANSWER_SIZE], why[200];
    if (!(share <= MOST)) {
        printf("These bottles would be known to %.0f %% only: weigh heavier ones, or on a scale of "
               "finer steps that its check shows to be right.\n",
               share * 100);
        return false;
    }
    write_share(share, text);
    snprintf(why, sizeof why,
             "Closed bottles of water, weighed whole in air on a scale of %s g steps, the lightest "
             "%s g; it showed %s g for %s g.",
             told->step_g, told->lightest_g, told->shown_g, told->known_g);
    add_key(setup, "masses", why, "", "");
    add_key(setup, "masses",
            "Give --masses-g what the scale shows, not litres: it is the conventional mass (OIML D "
            "28).",
            "", "");
    add_key(
        setup, "masses",
        "The share holds that check, a scale's errors (OIML R 76, class III in service), and other "
        "air (0.1 kg/m3).",
        "tolerance_rel", text);
    printf("They count as known to %s of their mass.\n", text);
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
    puts("Press on its hook once or twice meanwhile, so that its smallest step is seen.");
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

/* In the manuals of many makers they ask for a weight (common practice, no source). None that
   zeroes, tares or switches off is ever sent. */
static const char *const usual_polls[][2] = {
    {"W", "cr"}, {"P", "cr"}, {"SI\\r", "lf"}, {"\\eP\\r", "lf"}, {NULL, NULL}};

/* One word with each of the usual ends, or all the usual words. */
static void try_polls(struct setup *setup, const char *word) {
    const char *const own[][2] = {{word, "lf"}, {word, "cr"}, {word, "none"}, {NULL, NULL}};
    const char *const(*poll)[2] = word[0] != '\0' ? own : usual_polls;
    for (; (*poll)[0] != NULL && !setup->probe->found && signalled == 0; poll++) {
        up_text_print(stdout, "Sending %s (%s) ...\n", (*poll)[0], (*poll)[1]);
        fflush(stdout);
        *setup->probe = (struct up_probe){.port = setup->port};
        if (!up_probe_ask_with(setup->probe, (*poll)[0], (*poll)[1], &setup->probe->failure)) {
            return;
        }
        up_probe_port(setup->probe, setup->seconds, &signalled);
    }
}

/* Until something was found that can be read, or the person stops. */
static bool hear_scale(struct setup *setup, struct up_failure *failure) {
    char answer[ANSWER_SIZE];
    end_listening(setup);
    while (!setup->probe->found) {
        putchar('\n');
        up_text_paragraph(stdout, "", setup->probe->failure.text);
        up_text_paragraph(
            stdout, "",
            "Check the scale and its cable. Some scales send only when asked: type ask "
            "to try the usual words (W, P, SI), or the word that its manual names.");
        if (!ask("Answer [Enter: listen again, q: stop]", NULL, answer, failure)) {
            return false;
        }
        if (answer[0] != '\0') {
            try_polls(setup, strcmp(answer, "ask") == 0 ? "" : answer);
            continue;
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
        const struct question *question = &questions[i];
        good = !is_for(setup, question->when) || put_question(setup, question, call->failure);
        if (good && is_for(setup, question->when) && question->check != NULL &&
            !question->check(setup)) {
            i -= question->back + 1;
        }
    }
    if (good && !is_for(setup, SHARE) && !is_for(setup, BOTTLES)) {
        add_key(setup, "masses", "The class of the masses, by OIML R 111.", "class",
                setup->told.masses);
    }
    return good && (setup->typed || hear_scale(setup, call->failure));
}

static bool check_rig(struct call *call, const struct setup *setup, const char *file) {
    struct call next = {
        .option = {{"rig", file}, {"no-walk", ""}}, .options = 2, .failure = call->failure};
    bool bottles = is_for(setup, BOTTLES);
    if (option_given(call, "catalogue")) {
        next.option[next.options++] = (struct given){"catalogue", option_value(call, "catalogue")};
    }
    putchar('\n');
    up_text_print(stdout, "Written to %s. Now it is checked, as by `upthrust rig-check`.\n", file);
    bool good = command_rig_check(&next);
    up_catalogue_close(next.catalogue);
    call->status = next.status;
    if (good) {
        UP_FREED char *rig = quoted(file);
        puts("Next, with your known masses:");
        up_text_print(stdout, "  %s calibrate --rig %s --masses-g %s\n", program_name(), rig,
                      bottles ? "1012,1985,3020   (what the scale showed for each bottle)"
                              : "500,1000,2000");
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
    die_of_signal();
    good = good && check_rig(call, setup, file);
    if (setup->listening) { /* it ends with the program */
        pthread_detach(setup->thread);
    } else {
        free(setup->probe);
        for (size_t i = 0; i < sizeof setup->section / sizeof setup->section[0]; i++) {
            free(setup->section[i]);
        }
        free(setup);
    }
    return good;
}
