/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Before the first item: every line and lamp, the stream, the gear, and what to beware of. */
#include <string.h>
#include <unistd.h>

#include "session_options.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_rig_check[] = {
    OPTION_RIG,
    {"seconds", "S", "how long to listen (default: two windows, at least 10)"},
    {"replay", "CAPTURE", "a file of recorded bytes instead of the port"},
    {"counts-kg", "X", "counts per kilogram, if nothing is calibrated yet"},
    {"mass-kg", "M", "dry mass of the heaviest gear to be weighed"},
    {"lift-g", "G", "lift of the gear that floats strongest"},
    {"length-m", "L", "length of the longest, as it hangs"},
    {"no-walk", NULL, "do not try the lines and lamps one by one"},
    OPTION_PLAIN,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

struct checking {
    struct up_rig rig;
    struct up_panel *panel;
    struct up_gear gear;
    bool tries_panel, has_gear, document;
    enum up_operator_kind kind;
    double counts_per_kg; /* 0: no calibration that holds */
    double seconds;       /* of listening; 0: as the rig's window wants */
    struct up_fitness fitness;
    struct up_findings findings;
};

static bool read_numbers(struct call *call, struct checking *checking) {
    double lift_g = 0;
    checking->has_gear = option_given(call, "mass-kg") || option_given(call, "lift-g") ||
                         option_given(call, "length-m");
    if (!option_number(call, "mass-kg", 0, 500, &checking->gear.mass_kg) ||
        !option_number(call, "lift-g", 0, 500000, &lift_g) ||
        !option_number(call, "length-m", 0, 20, &checking->gear.length_m) ||
        !option_number(call, "seconds", 0.1, 86400, &checking->seconds) ||
        !option_number(call, "counts-kg", -1e12, 1e12, &checking->counts_per_kg)) {
        return false;
    }
    checking->gear.lift_kg = lift_g * 1e-3;
    return true;
}

static bool open_rig(struct call *call, struct checking *checking) {
    const char *file = option_value(call, "rig");
    if (file == NULL) {
        return refuse(
            call, "give --rig FILE: `upthrust help rig` shows how to write one, `upthrust ports "
                  "--listen --write FILE` drafts it");
    }
    if (!up_rig_load(file, &checking->rig, call->failure)) {
        return false;
    }
    checking->tries_panel = !option_given(call, "no-walk");
    if (!up_panel_open(&checking->rig, &checking->panel, call->failure)) {
        return false;
    }
    checking->tries_panel = checking->tries_panel && checking->panel != NULL;
    if (checking->tries_panel && option_value(call, "operator") == NULL &&
        isatty(STDIN_FILENO) == 0) {
        return refuse(
            call,
            "standard input is not a terminal: give --operator keys, pedal or json, or --no-walk");
    }
    return checking->kind != UP_OPERATOR_PEDAL || checking->rig.pedal.input.at.chip[0] != '\0' ||
           refuse(call, "--operator pedal: %s has no section [pedal] that names its line", file);
}

/* A catalogue without a trusted calibration is no mistake: then everything is in counts. */
static void find_calibration(struct call *call, struct checking *checking) {
    bool trusted = false;
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    if (checking->counts_per_kg == 0 &&
        up_catalogue_open(catalogue_directory(call), UP_CATALOGUE_READ, &call->catalogue, NULL) &&
        up_calibration_to_show(call->catalogue, checking->rig.id, calibration, &trusted, NULL) &&
        trusted && strcmp(calibration->rig_sha256, checking->rig.sha256) == 0) {
        checking->counts_per_kg = calibration->slope_counts_per_kg;
    }
}

static bool check_stream(struct call *call, struct checking *checking) {
    const struct up_rig *rig = &checking->rig;
    const char *capture = option_value(call, "replay");
    bool live = capture == NULL && rig->port_kind != UP_PORT_CAPTURE;
    double seconds = checking->seconds > 0 ? checking->seconds : fmax(10, 2 * rig->window_s);
    struct up_listening *listening = up_listening_create(rig, live && rig->line.poll[0] == '\0');
    if (live && checking->kind != UP_OPERATOR_JSON && !checking->document) {
        printf("Listening for %.0f s: keep hands off hook and stand ...\n", seconds);
        fflush(stdout);
    }
    bool good = hear_stream(call, rig, seconds, listening) &&
                judge_listening(listening, capture != NULL ? capture : rig->path, call->failure);
    if (good) {
        up_fitness_of_stream(listening, checking->counts_per_kg, live ? seconds : (double)NAN,
                             &checking->fitness, &checking->findings);
    }
    up_listening_destroy(listening);
    return good;
}

/* ---- printing ---- */

static json_t *to_json(const struct checking *checking) {
    const struct up_fitness *fitness = &checking->fitness;
    json_t *findings = json_array(), *warnings = json_array();
    for (unsigned i = 0; i < checking->findings.count; i++) {
        const struct up_finding *finding = &checking->findings.list[i];
        UP_FREED char *text = up_text_clean(finding->text, strlen(finding->text));
        json_array_append_new(findings, json_pack("{s:b, s:b, s:s}", "good", finding->good, "open",
                                                  finding->open, "text", text));
    }
    for (const char *const *text = all_cautions; *text != NULL; text++) {
        json_array_append_new(warnings, json_string(*text));
    }
    return json_pack("{s:s, s:b, s:o, s:s, s:o, s:o, s:o, s:i, s:f, s:f, s:o, s:o}", "schema",
                     "upthrust-rig-check-1", "fit", up_findings_are_good(&checking->findings),
                     "rate_hz", up_json_number(fitness->rate_hz), "load_unit",
                     checking->rig.line.load_unit == UP_LOAD_COUNTS ? "counts" : "kg", "noise",
                     up_json_number(fitness->noise), "u_plateau",
                     up_json_number(fitness->u_plateau), "u_weighing_g",
                     up_json_number(fitness->u_weighing_g), "readings", (int)fitness->readings,
                     "glitch_share", fitness->glitch_share, "refused_share", fitness->refused_share,
                     "findings", findings, "cautions", warnings);
}

static void print_words(const struct checking *checking, const struct up_style *style) {
    bool fit = up_findings_are_good(&checking->findings), open = false;
    for (unsigned i = 0; i < checking->findings.count; i++) {
        const struct up_finding *finding = &checking->findings.list[i];
        UP_FREED char *shown = up_style_text(style, finding->text);
        up_text_paragraph(stdout,
                          finding->open   ? "OPEN   "
                          : finding->good ? "good   "
                                          : "SHORT  ",
                          shown);
        open = open || finding->open;
    }
    puts(!fit   ? "The rig falls short: see above."
         : open ? "The rig is fit to weigh with, but its file leaves something open: see above."
                : "The rig is fit to weigh with.");
}

static void print_cautions(FILE *stream) {
    fputs("Before anything is filled, wired or lifted:\n", stream);
    for (const char *const *text = all_cautions; *text != NULL; text++) {
        up_text_paragraph(stream, "- ", *text);
    }
}

static bool check(struct call *call, struct checking *checking, struct up_operator *op) {
    if (checking->kind != UP_OPERATOR_JSON && !checking->document) {
        print_cautions(stdout);
        fflush(stdout);
    }
    if (checking->tries_panel &&
        !up_panel_check(checking->panel, op, &signalled, &checking->findings)) {
        return up_fail(call->failure, UP_STATUS_UNABLE, "stopped before every line was tried");
    }
    find_calibration(call, checking);
    if (checking->rig.port_kind == UP_PORT_TYPED) {
        up_fitness_of_typed(&checking->rig, &checking->fitness, &checking->findings);
    } else if (!check_stream(call, checking)) {
        return false;
    }
    if (checking->has_gear) {
        up_fitness_for_gear(&checking->rig, &checking->gear, &checking->findings);
    } else {
        up_fitness_of_keys(&checking->rig, &checking->findings);
    }
    return true;
}

bool command_rig_check(struct call *call) {
    UP_FREED struct checking *checking = up_allocate(1, sizeof *checking);
    struct up_operator *op = NULL;
    struct up_style style;
    catch_signals();
    checking->document = option_given(call, "json");
    bool good = style_asked(call, &style) &&
                read_operator(call, checking->document, &checking->kind) &&
                read_numbers(call, checking) && open_rig(call, checking);
    if (good) {
        op = up_operator_create(checking->kind, STDIN_FILENO,
                                checking->kind == UP_OPERATOR_JSON ? stdout : stderr);
        good = check(call, checking, op);
    }
    if (good && (checking->kind == UP_OPERATOR_JSON || checking->document)) {
        json_t *json = to_json(checking);
        if (checking->kind == UP_OPERATOR_JSON) {
            up_operator_show_result(op, json);
            json_decref(json);
        } else {
            print_json(json);
        }
    } else if (good) {
        print_words(checking, &style);
    }
    if (!up_findings_are_good(&checking->findings)) {
        call->status = UP_STATUS_UNDECIDED; /* a check fell short */
    }
    up_operator_destroy(op);
    up_panel_close(checking->panel);
    die_of_signal();
    return good;
}
