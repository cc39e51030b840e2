/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A rig file, asked for step by step, while the wire is listened to. The file is written once, when
   all is known, was looked through and can be read; until then there is none. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <uuid/uuid.h>

#include "operator/operator.h"
#include "setup.h"
#include "text/text.h"
#include "upthrust/masses.h"

const struct option_text options_setup[] = {
    OPTION_RIG,
    {"port", "PATH", "the port of the scale (default: you are asked)"},
    {"seconds", "S", "how long to listen at each rate (default 3)"},
    {"units", "metric|imperial", "imperial: what it is in pounds and feet is shown too"},
    OPTION_CATALOGUE,
    OPTION_END};

/* Which tanks, scales and masses a question is for. */
enum when { ALWAYS, TYPED, SEA, POOL, SHARE, BOTTLES, HEARD_PTY, STEP_UNSEEN };

struct question {
    enum when when;
    const char *section, *key; /* NULL: it is no key of the file */
    const char *why;           /* one line, which becomes the comment in the file too */
    const char *ask;
    double low, high; /* no number where both are 0: one of `words`, else any text */
    const char *words;
    const char *usual; /* for an empty answer; "" leaves the key out, NULL: there must be one */
    bool (*check)(struct setup *setup); /* false: asked again, from `back_to` on */
    enum asked back_to;
};
#define KEY(...)                                                                                   \
    { __VA_ARGS__, NULL, 0 }

static bool is_a_name(struct setup *setup), is_not_too_coarse(struct setup *setup),
    is_deep_enough(struct setup *setup), is_not_too_wide(struct setup *setup);

static const struct question questions[QUESTIONS] = {
    {ALWAYS, NULL, NULL,
     "The name of this bench, which no other bench may have: its calibrations belong "
     "to it. Use letters, digits and -.",
     "Name of this bench", 0, 0, NULL, "", is_a_name, ASKED_ID},
    {ALWAYS, NULL, NULL,
     "The port that the scale is plugged into; \"typed\" if you will type its "
     "readings.",
     "Port", 0, 0, NULL, "", setup_port, ASKED_PORT},
    KEY(TYPED, "line", "load_unit", "The unit that the scale shows.", "Unit", 0, 0, "kg g lb N",
        "kg"),
    KEY(TYPED, "sensor", "division_counts", "The smallest step that the scale shows, in kg.",
        "Smallest step, kg", 1e-6, 10, NULL, "0.01"),
    {ALWAYS, "sensor", "capacity_kg",
     "The most that the scale or cell may carry, ballast included, in kg; it is printed on it.",
     "Capacity of the scale, kg", 0.01, 2000, NULL, NULL, is_not_too_coarse, ASKED_STEP},
    KEY(ALWAYS, "sensor", "u_thermometer_k", "How far the thermometer may be wrong, in degrees C.",
        "Thermometer right to +- degrees C", 0.01, 5, NULL, "0.5"),
    KEY(ALWAYS, "tank", "water", "What is in the tank: tap or lake water is fresh.", "Water", 0, 0,
        "fresh sea pool", "fresh"),
    KEY(SEA, "tank", "salinity_g_kg",
        "How much salt is in it, in grams per kilogram; the ocean has 35.", "Salt, g/kg", 0.1, 42,
        NULL, NULL),
    KEY(SEA, "tank", "u_salinity_g_kg", "How far that may be wrong, in grams per kilogram.",
        "Salt known to +- g/kg", 0.01, 10, NULL, "1"),
    KEY(POOL, "tank", "pool_salt_g_l", "How much salt is in the pool, in grams per litre.",
        "Salt, g/L", 0.1, 40, NULL, NULL),
    KEY(ALWAYS, "tank", "area_m2",
        "The surface of the water in square metres: an item raises the level by it.",
        "Water surface, m2 (length x width)", 0.001, 10000, NULL, ""),
    KEY(ALWAYS, "tank", "line_diameter_mm",
        "How thick the line is that goes through the surface, in mm: a fishing line has 0.3 to 1.",
        "Thickness of the line, mm", 0.01, 50, NULL, ""),
    KEY(ALWAYS, NULL, NULL,
        "How high the largest item is, as it hangs, in metres. A long fin may hang on its side.",
        "Height of the largest item, m", 0.02, 5, NULL, "0.7"),
    {ALWAYS, NULL, NULL, "How deep the water is, in metres.", "Depth of the water, m", 0.05, 60,
     NULL, NULL, is_deep_enough, ASKED_ITEM_M},
    KEY(ALWAYS, "tank", "depth_m",
        "How deep the middle of an item hangs below the surface, in metres.",
        "Depth of the item's middle, m", 0.05, 60, NULL, NULL),
    KEY(ALWAYS, "tank", "ballast_kg",
        "Lead that always hangs under water, weighed dry: at least 1.5 times the strongest lift.",
        "Ballast, dry, kg", 0.05, 500, NULL, NULL),
    KEY(ALWAYS, NULL, NULL,
        "What your known masses are: a set of a class of OIML R 111 (it is stamped on the set or "
        "its certificate), closed bottles of water, or others whose error you know as a share.",
        "Kind of your masses", 0, 0, "E2 F1 F2 M1 M2 M3 bottles share", "share"),
    KEY(SHARE, "masses", "tolerance_rel",
        "How far your known masses may be wrong, as a share: 0.0005 is half a gram in a kilogram.",
        "Masses may be wrong by, share", 1e-7, 0.05, NULL, "0.0005"),
    KEY(BOTTLES, NULL, NULL,
        "Fill bottles with water, close them, dry them and weigh each one whole. The smallest "
        "step of the scale that weighs them, in grams.",
        "Step of that scale, g", 0.001, 100, NULL, "1"),
    KEY(BOTTLES, NULL, NULL,
        "Check that scale with a mass that you know, about as heavy as a bottle, in grams.",
        "Known mass on that scale, g", 1, 100000, NULL, NULL),
    KEY(BOTTLES, NULL, NULL, "How far that known mass may be wrong, as a share.",
        "It may be wrong by, share", 1e-7, 0.05, NULL, "0.0005"),
    KEY(BOTTLES, NULL, NULL, "What the scale shows for it, in grams.", "The scale shows for it, g",
        1, 100000, NULL, NULL),
    {BOTTLES, NULL, NULL, "What the scale shows for the lightest bottle, in grams.",
     "The lightest bottle shows, g", 1, 100000, NULL, NULL, is_not_too_wide, ASKED_BOTTLE_STEP},
    KEY(HEARD_PTY, "rig", "simulated",
        "The port is a pseudo-terminal, as a simulated scale has it: its results say so.",
        "Simulated", 0, 0, "yes no", NULL),
    {STEP_UNSEEN, "sensor", "division_counts", "The smallest step that the scale shows, in kg.",
     "Smallest step, kg", 1e-6, 10, NULL, NULL, is_not_too_coarse, ASKED_STEP_UNSEEN},
};

/* Where an answer is no number, and there is none that Enter takes. */
static const double examples[QUESTIONS] = {
    [ASKED_CAPACITY] = 20,     [ASKED_SEA] = 35,     [ASKED_POOL] = 3,        [ASKED_AREA] = 0.36,
    [ASKED_LINE] = 0.6,        [ASKED_WATER_M] = 1,  [ASKED_DEPTH] = 0.45,    [ASKED_BALLAST] = 2,
    [ASKED_KNOWN] = 1000,      [ASKED_SHOWN] = 1001, [ASKED_LIGHTEST] = 1012, [ASKED_STEP] = 0.01,
    [ASKED_STEP_UNSEEN] = 0.01};

/* Air over an item, water under it and the ballast below that: a hand's breadth each (a choice of
   ours). */
static const double HAND_M = 0.1;

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

static double number_of(const struct setup *setup, enum asked asked) {
    double number = (double)NAN;
    up_text_number(setup->answer[asked], strlen(setup->answer[asked]), &number);
    return number;
}

static bool is_for(const struct setup *setup, enum asked asked) {
    const char *water = setup->answer[ASKED_WATER], *masses = setup->answer[ASKED_MASSES];
    switch (questions[asked].when) {
    case TYPED:
        return setup->typed;
    case SEA:
        return strcmp(water, "sea") == 0;
    case POOL:
        return strcmp(water, "pool") == 0;
    case SHARE:
        return strcmp(masses, "share") == 0;
    case BOTTLES:
        return strcmp(masses, "bottles") == 0;
    case HEARD_PTY:
        return setup->heard && setup->probe->kind == UP_PORT_PTY;
    case STEP_UNSEEN:
        return setup->heard && setup->step_unseen;
    case ALWAYS:
        break;
    }
    return true;
}

/* ---- asking ---- */

enum said setup_ask(const char *prompt, const char *usual, char answer[ANSWER_SIZE]) {
    const char *in = usual != NULL && usual[0] != '\0' ? usual : "leave it out";
    up_text_print(stdout, usual != NULL ? "%s [Enter: %s]: " : "%s: ", prompt, in);
    fflush(stdout);
    if (!up_operator_read_line(STDIN_FILENO, &signalled, answer, ANSWER_SIZE) ||
        strcmp(answer, "q") == 0) {
        putchar('\n');
        return SAID_STOP;
    }
    if (answer[0] == '\0' && usual != NULL) {
        snprintf(answer, ANSWER_SIZE, "%s", usual);
    }
    return strcmp(answer, "back") == 0 ? SAID_BACK : SAID_ANSWER;
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

/* Of the number that is asked for, as it stands at the end of the question; "": a share or none. */
static void unit_of(const struct question *question, char unit[ANSWER_SIZE]) {
    const char *comma = question->high > 0 ? strrchr(question->ask, ',') : NULL;
    unit[0] = '\0';
    if (comma != NULL) {
        sscanf(comma + 1, " %79s", unit);
    }
}

/* Without the unit that may stand behind it, in the unit of the question. */
static bool take_typed(const struct question *question, char answer[ANSWER_SIZE]) {
    char unit[ANSWER_SIZE];
    double number;
    bool plain = up_text_number(answer, strlen(answer), &number);
    unit_of(question, unit);
    if (!up_style_typed(answer, unit, &number) || number < question->low ||
        number > question->high) {
        return false;
    }
    if (!plain) {
        up_text_print(stdout, "%s is %.9g %s\n", answer, number, unit);
        snprintf(answer, ANSWER_SIZE, "%.9g", number);
    }
    return true;
}

static bool accepts(const struct question *question, char answer[ANSWER_SIZE]) {
    char *comma = strchr(answer, ',');
    if (question->words != NULL) {
        return is_one_of(question->words, answer);
    }
    if (question->high == 0 || (answer[0] == '\0' && question->usual != NULL)) {
        return true;
    }
    if (comma != NULL) {
        *comma = '.';
    }
    return take_typed(question, answer);
}

/* "20 kg" as "44 lb 1.48 oz"; NULL where the style is metric or has no such unit. The caller's. */
static char *in_style(const struct setup *setup, enum asked asked, const char *number) {
    char unit[ANSWER_SIZE];
    unit_of(&questions[asked], unit);
    UP_FREED char *metric = up_text_format("%s %s", number, unit);
    char *shown = up_style_text(&setup->style, metric);
    if (strcmp(shown, metric) == 0) {
        free(shown);
        return NULL;
    }
    return shown;
}

/* What Enter takes: what was answered before, else what is usual. */
static const char *usual_answer(const struct setup *setup, enum asked asked,
                                char buffer[ANSWER_SIZE]) {
    if (setup->answer[asked][0] != '\0') {
        snprintf(buffer, ANSWER_SIZE, "%s", setup->answer[asked]);
    } else if (asked == ASKED_DEPTH) {
        snprintf(buffer, ANSWER_SIZE, "%.2f", HAND_M + number_of(setup, ASKED_ITEM_M) / 2);
    } else if (asked == ASKED_PORT) {
        snprintf(buffer, ANSWER_SIZE, "%.70s",
                 setup->ports_count > 0 ? setup->ports[0].name : "typed");
    } else {
        return questions[asked].usual;
    }
    return buffer;
}

/* What Enter takes, or the example, in the units of the style. */
static void show_in_style(const struct setup *setup, enum asked asked, const char *usual) {
    UP_FREED char *example = up_text_format("%g", examples[asked]);
    char unit[ANSWER_SIZE];
    const char *number = usual != NULL && usual[0] != '\0' ? usual : example;
    UP_FREED char *shown = in_style(setup, asked, number);
    unit_of(&questions[asked], unit);
    if (shown != NULL) {
        up_text_print(stdout, "To compare: %s %s is %s.\n", number, unit, shown);
    }
}

static void explain(const struct setup *setup, enum asked asked, const char *usual) {
    putchar('\n');
    for (size_t i = 0; asked == ASKED_PORT && i < setup->ports_count; i++) {
        up_text_print(stdout, "  %s  %s\n", setup->ports[i].name, setup->ports[i].description);
    }
    if (asked == ASKED_STEP_UNSEEN) {
        puts("Too few small changes came over the wire to know the step of the scale.");
    }
    up_text_paragraph(stdout, "", questions[asked].why);
    show_in_style(setup, asked, usual);
}

static enum said put_question(struct setup *setup, enum asked asked) {
    const struct question *question = &questions[asked];
    char answer[ANSWER_SIZE], buffer[ANSWER_SIZE];
    const char *usual = usual_answer(setup, asked, buffer);
    bool may_clear = usual == buffer && question->high > 0 && question->usual != NULL &&
                     question->usual[0] == '\0';
    enum said said;
    explain(setup, asked, usual);
    UP_FREED char *prompt = question->words != NULL
                                ? up_text_format("%s (%s)", question->ask, question->words)
                            : may_clear ? up_text_format("%s (none: leave it out)", question->ask)
                            : (usual == NULL || usual[0] == '\0') && examples[asked] > 0
                                ? up_text_format("%s (such as %g)", question->ask, examples[asked])
                                : up_text_format("%s", question->ask);
    while ((said = setup_ask(prompt, usual, answer)) == SAID_ANSWER &&
           !(may_clear && strcmp(answer, "none") == 0) && !accepts(question, answer)) {
        if (question->words != NULL) {
            printf("Give one of: %s\n", question->words);
        } else {
            printf("Give a number from %g to %g, such as %.3g\n", question->low, question->high,
                   question->usual != NULL && question->usual[0] != '\0'
                       ? strtod(question->usual, NULL)
                       : examples[asked]);
        }
    }
    if (said == SAID_ANSWER) {
        bool cleared = may_clear && strcmp(answer, "none") == 0;
        snprintf(setup->answer[asked], ANSWER_SIZE, "%s", cleared ? "" : answer);
        setup->known[asked] = true;
    }
    return said;
}

/* The one before is asked again; before the first there is none. */
static void go_back(struct setup *setup, enum asked from) {
    int i = (int)from - 1;
    while (i >= 0 && !(setup->known[i] && is_for(setup, (enum asked)i))) {
        i--;
    }
    if (i < 0) {
        puts("This is the first question.");
    } else {
        setup->known[i] = false;
    }
}

/* All that is not known yet, in order; false where the person stops. */
static bool ask_open(struct setup *setup) {
    for (int i = 0; i < QUESTIONS;) {
        enum asked asked = (enum asked)i++;
        const struct question *question = &questions[asked];
        if (setup->known[asked] || !is_for(setup, asked)) {
            continue;
        }
        enum said said = put_question(setup, asked);
        if (said == SAID_STOP) {
            return false;
        }
        if (said == SAID_BACK) {
            go_back(setup, asked);
        } else if (question->check != NULL && !question->check(setup)) {
            memset(&setup->known[question->back_to], false, asked - question->back_to + 1);
        }
        i = 0;
    }
    return true;
}

/* ---- what is checked ---- */

/* Random, so that no two benches take each other's calibrations for their own. */
static void propose_id(struct setup *setup) {
    uuid_t random;
    char text[UUID_STR_LEN];
    uuid_generate_random(random);
    uuid_unparse_lower(random, text);
    snprintf(setup->answer[ASKED_ID], ANSWER_SIZE, "bench-%.8s", text);
}

static bool is_a_name(struct setup *setup) {
    bool good = setup->answer[ASKED_ID][strspn(setup->answer[ASKED_ID],
                                               "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVW"
                                               "XYZ0123456789-")] == '\0' &&
                strlen(setup->answer[ASKED_ID]) <= 60;
    if (!good) {
        puts("Use letters, digits and - only, at most 60");
        propose_id(setup);
    }
    return good;
}

/* A scale shows its capacity in some hundred steps at least; a step of tens of kilograms was
   typed in grams. */
static bool is_not_too_coarse(struct setup *setup) {
    static const double LEAST_STEPS = 100;
    enum asked asked = setup->typed ? ASKED_STEP : ASKED_STEP_UNSEEN;
    double step_kg = number_of(setup, asked), capacity_kg = number_of(setup, ASKED_CAPACITY);
    if (!is_for(setup, asked) || !(step_kg * LEAST_STEPS > capacity_kg)) {
        return true;
    }
    UP_FREED char *metric =
        up_text_format("A step of %g kg on a scale of %g kg?", step_kg, capacity_kg);
    UP_FREED char *shown = up_style_text(&setup->style, metric);
    up_text_print(stdout, "%s Both are asked for in kg: 10 g are 0.01.\n", shown);
    setup->answer[asked][0] = setup->answer[ASKED_CAPACITY][0] = '\0';
    setup->known[ASKED_CAPACITY] = false;
    return false;
}

static double needed_m(const struct setup *setup) {
    return number_of(setup, ASKED_ITEM_M) + 3 * HAND_M;
}

static bool is_deep_enough(struct setup *setup) {
    if (number_of(setup, ASKED_WATER_M) < needed_m(setup) - 1e-9) {
        up_style_say(&setup->style, stdout, "",
                     "Too shallow: it needs %.2f m of water. A barrel, a bin or a bath is deeper "
                     "than a bucket; or say how the item hangs less high.",
                     needed_m(setup));
        setup->answer[ASKED_ITEM_M][0] = setup->answer[ASKED_WATER_M][0] = '\0';
        return false;
    }
    setup->known[ASKED_DEPTH] = false; /* it follows from these two */
    setup->answer[ASKED_DEPTH][0] = '\0';
    return true;
}

/* Rounded up in its second digit. */
static void write_share(double share, char text[ANSWER_SIZE]) {
    double digit = pow(10, floor(log10(share)) - 1);
    snprintf(text, ANSWER_SIZE, "%.2g", ceil(share / digit - 1e-9) * digit);
}

/* What a scale shows for a closed bottle is its conventional mass, whatever its density: nothing is
   to be corrected as long as the air is the same. */
static double share_of_bottles(const struct setup *setup) {
    struct up_scale_check scale = {number_of(setup, ASKED_BOTTLE_STEP),
                                   number_of(setup, ASKED_KNOWN), number_of(setup, ASKED_SHOWN),
                                   number_of(setup, ASKED_KNOWN_REL)};
    return up_weighed_tolerance_rel(&scale, number_of(setup, ASKED_LIGHTEST));
}

static bool is_not_too_wide(struct setup *setup) {
    static const double MOST = 0.05;
    double share = share_of_bottles(setup);
    char text[ANSWER_SIZE];
    if (!(share <= MOST)) {
        printf("These bottles would be known to %.0f %% only: weigh heavier ones, or on a scale of "
               "finer steps that its check shows to be right.\n",
               share * 100);
        for (int i = ASKED_BOTTLE_STEP; i <= ASKED_LIGHTEST; i++) {
            setup->answer[i][0] = '\0';
        }
        return false;
    }
    write_share(share, text);
    printf("They count as known to %s of their mass.\n", text);
    return true;
}

/* ---- the file ---- */

/* Asked for is a half-width, and nothing more is known: a rectangular distribution (GUM 4.3.7). */
static void add_u(struct setup *setup, enum asked asked) {
    char u[ANSWER_SIZE];
    UP_FREED char *why = up_text_format(
        "%s Given as +-%s; the standard uncertainty is that over sqrt(3) (GUM 4.3.7).",
        questions[asked].why, setup->answer[asked]);
    snprintf(u, sizeof u, "%.3g", number_of(setup, asked) / sqrt(3));
    add_key(setup, questions[asked].section, why, questions[asked].key, u);
}

static void add_depth(struct setup *setup) {
    UP_FREED char *text = up_text_format(
        "The largest item is %.2f m high as it hangs and needs %.2f m of water (a hand's breadth "
        "over it, under it and for the ballast); there are %.2f m.",
        number_of(setup, ASKED_ITEM_M), needed_m(setup), number_of(setup, ASKED_WATER_M));
    add_key(setup, "tank", text, "", "");
}

static void add_bottles(struct setup *setup) {
    char share[ANSWER_SIZE];
    UP_FREED char *why = up_text_format(
        "Closed bottles of water, weighed whole in air on a scale of %s g steps, the lightest "
        "%s g; it showed %s g for %s g.",
        setup->answer[ASKED_BOTTLE_STEP], setup->answer[ASKED_LIGHTEST], setup->answer[ASKED_SHOWN],
        setup->answer[ASKED_KNOWN]);
    write_share(share_of_bottles(setup), share);
    add_key(setup, "masses", why, "", "");
    add_key(setup, "masses",
            "Give --masses-g what the scale shows, not litres: it is the conventional mass (OIML D "
            "28).",
            "", "");
    add_key(
        setup, "masses",
        "The share holds that check, a scale's errors (OIML R 76, class III in service), and other "
        "air (0.1 kg/m3).",
        "tolerance_rel", share);
}

static void fill_sections(struct setup *setup) {
    for (int i = 0; i < QUESTIONS; i++) {
        enum asked asked = (enum asked)i;
        const struct question *question = &questions[asked];
        const char *answer = setup->answer[asked];
        if (!is_for(setup, asked)) {
            continue;
        }
        if (asked == ASKED_WATER_M) {
            add_depth(setup);
        } else if (asked == ASKED_LIGHTEST) {
            add_bottles(setup);
        } else if (asked == ASKED_MASSES && !is_for(setup, ASKED_SHARE) &&
                   !is_for(setup, ASKED_LIGHTEST)) {
            add_key(setup, "masses", "The class of the masses, by OIML R 111.", "class", answer);
        } else if (question->section != NULL && answer[0] != '\0') {
            strncmp(question->key, "u_", 2) == 0
                ? add_u(setup, asked)
                : add_key(setup, question->section, question->why, question->key, answer);
        }
    }
}

static char *make_file(const struct setup *setup) {
    const struct up_probe *probe = setup->probe;
    const char *line = setup->typed ? "[line]\nlayout = bare\n" : probe->guess.line_section;
    UP_FREED char *port = setup->typed ? up_text_format("[port]\n; You type what the scale shows.\n"
                                                        "kind = typed\n")
                                       : up_probe_port_section(probe);
    bool has_sensor = strstr(line, "[sensor]") != NULL;
    UP_FREED char *bench = up_probe_bench_section(setup->typed ? 0 : probe->rate_hz);
    return up_text_format(
        "; Written by `upthrust setup`. `upthrust help rig` lists all keys.\n[rig]\n; No other "
        "bench may have this name.\nid = %s\n%s\n%s\n%s%s%s%s\n[tank]\n%s\n[masses]\n%s%s",
        setup->answer[ASKED_ID], setup->section[4] != NULL ? setup->section[4] : "", port, line,
        setup->section[0] != NULL ? setup->section[0] : "", has_sensor ? "" : "\n[sensor]\n",
        setup->section[1], setup->section[2], setup->section[3], bench);
}

static bool put_text(FILE *stream, void *context) {
    return fputs(context, stream) != EOF;
}

static bool refuse_existing(const char *file, struct up_failure *failure) {
    return access(file, F_OK) != 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s already exists and is not changed: give --rig another name", file);
}

static bool write_file(struct setup *setup, struct up_failure *failure) {
    struct up_rig *rig = up_allocate(1, sizeof *rig);
    fill_sections(setup);
    char *text = make_file(setup);
    bool good = up_rig_parse(setup->file, text, rig, failure) &&
                refuse_existing(setup->file, failure) &&
                up_text_write_file(setup->file, put_text, text, failure);
    free(text);
    free(rig);
    return good;
}

/* ---- the answers once more, before anything is written ---- */

static void list_answers(const struct setup *setup, enum asked row[QUESTIONS], int *rows) {
    *rows = 0;
    putchar('\n');
    up_text_print(stdout, "Your answers, not yet written to %s:\n", setup->file);
    for (int i = 0; i < QUESTIONS; i++) {
        if (is_for(setup, (enum asked)i)) {
            const char *answer = setup->answer[i];
            UP_FREED char *shown = in_style(setup, (enum asked)i, answer);
            row[(*rows)++] = (enum asked)i;
            up_text_print(stdout, "  %2d  %-34s %s%s%s%s\n", *rows, questions[i].ask,
                          answer[0] != '\0' ? answer : "(left out)", shown != NULL ? "  (" : "",
                          shown != NULL ? shown : "", shown != NULL ? ")" : "");
        }
    }
}

/* It is asked again, and what is checked with it. */
static void reopen(struct setup *setup, enum asked asked) {
    setup->known[asked] = false;
    for (int i = (int)asked + 1; i < QUESTIONS; i++) {
        if (questions[i].check != NULL && questions[i].back_to <= asked) {
            setup->known[i] = false;
        }
    }
}

/* SAID_ANSWER: all is right. */
static enum said review(struct setup *setup) {
    enum asked row[QUESTIONS];
    char answer[ANSWER_SIZE];
    int rows;
    double number;
    list_answers(setup, row, &rows);
    for (;;) {
        enum said said = setup_ask(
            "The number of an answer to change it [Enter: write the file, q: stop]", NULL, answer);
        if (said == SAID_BACK) {
            go_back(setup, QUESTIONS);
            return said;
        }
        if (said == SAID_STOP || answer[0] == '\0') {
            return said;
        }
        if (up_text_number(answer, strlen(answer), &number) && number >= 1 && number <= rows &&
            number == floor(number)) {
            reopen(setup, row[(int)number - 1]);
            return SAID_BACK;
        }
        printf("Give a number from 1 to %d, or press Enter\n", rows);
    }
}

static bool ask_all(struct setup *setup) {
    enum said said = SAID_BACK;
    up_text_paragraph(
        stdout, "",
        "Answer each question; Enter takes what stands in brackets. Type back for the "
        "question before, q to stop. Nothing is written before the end.");
    puts("An answer may have its own unit: 5 lb, 3 oz, 18 in, 2 ft, 4 ft2.");
    while (said == SAID_BACK) {
        said = ask_open(setup) ? SAID_ANSWER : SAID_STOP;
        if (said == SAID_ANSWER && !setup->typed && !setup->heard) {
            said = setup_hear(setup);
            said = said == SAID_ANSWER ? SAID_BACK : said; /* what it left open */
        } else if (said == SAID_ANSWER) {
            said = review(setup);
        }
    }
    return said == SAID_ANSWER;
}

/* ---- the command ---- */

static bool ask_person_all(struct call *call, struct setup *setup) {
    const char *path = option_value(call, "port");
    if (!up_ports_list(&setup->ports, &setup->ports_count, call->failure)) {
        return false;
    }
    propose_id(setup);
    if (path != NULL) {
        snprintf(setup->answer[ASKED_PORT], ANSWER_SIZE, "%s", path);
        setup->known[ASKED_PORT] = setup_port(setup);
    }
    return ask_all(setup) ||
           up_fail(call->failure, UP_STATUS_UNABLE, "stopped: no rig file was written");
}

static bool check_rig(struct call *call, const struct setup *setup) {
    struct call next = {
        .option = {{"rig", setup->file}, {"no-walk", ""}}, .options = 2, .failure = call->failure};
    if (option_given(call, "catalogue")) {
        next.option[next.options++] = (struct given){"catalogue", option_value(call, "catalogue")};
    }
    if (option_given(call, "units")) {
        next.option[next.options++] = (struct given){"units", option_value(call, "units")};
    }
    putchar('\n');
    up_text_print(stdout, "Written to %s. Now it is checked, as by `upthrust rig-check`.\n",
                  setup->file);
    bool good = command_rig_check(&next);
    up_catalogue_close(next.catalogue);
    call->status = next.status;
    if (good) {
        UP_FREED char *rig = quoted(setup->file);
        puts("Next, with your known masses:");
        up_text_print(stdout, "  %s calibrate --rig %s --masses-g %s\n", program_name(), rig,
                      is_for(setup, ASKED_LIGHTEST)
                          ? "1012,1985,3020   (what the scale showed for each bottle)"
                          : "500,1000,2000");
    }
    return good;
}

static void release(struct setup *setup) {
    if (setup->listening) { /* it ends with the program */
        pthread_detach(setup->thread);
        return;
    }
    for (size_t i = 0; i < sizeof setup->section / sizeof setup->section[0]; i++) {
        free(setup->section[i]);
    }
    free(setup->probe);
    free(setup->ports);
    free(setup);
}

bool command_setup(struct call *call) {
    struct setup *setup = up_allocate(1, sizeof *setup);
    setup->file = option_value(call, "rig");
    setup->seconds = 3;
    catch_signals();
    bool good =
        (setup->file != NULL || refuse(call, "give --rig FILE: the rig file to be written")) &&
        option_number(call, "seconds", 0.2, 600, &setup->seconds) &&
        style_asked(call, &setup->style) && refuse_existing(setup->file, call->failure) &&
        ask_person_all(call, setup) && write_file(setup, call->failure);
    die_of_signal();
    good = good && check_rig(call, setup);
    release(setup);
    return good;
}
