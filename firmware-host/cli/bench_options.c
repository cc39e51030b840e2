/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench_options.h"

#include <locale.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

/* A pedal says no numbers: none may be asked for. */
static bool can_pedal(const struct bench_options *options, bool measures,
                      struct up_failure *failure) {
    const struct up_rig *rig = &options->rig;
    bool has_thermometer = rig->line.temp.field != 0 || rig->line.temp.label[0] != '\0';
    if (rig->pedal.input.at.chip[0] == '\0') {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--operator pedal: %s has no section [pedal] that names its line",
                       rig->path);
    }
    if (rig->port_kind == UP_PORT_TYPED) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--operator pedal: readings are typed here, which no pedal can do: say "
                       "--operator keys");
    }
    return !measures || has_thermometer || !isnan(rig->temp_c) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--operator pedal: the water's temperature would have to be typed: give [tank] "
                   "temp_c in %s, or a thermometer in [line]",
                   rig->path);
}

bool open_bench(const struct arguments *arguments, bool measures, struct bench_options *options,
                struct up_failure *failure) {
    const char *operator_kind = option_value(arguments, "operator");
    const char *rig_file = option_value(arguments, "rig");
    memset(options, 0, sizeof *options);
    options->json_document = option_given(arguments, "json");
    if (rig_file == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "give --rig FILE: rigs/ holds examples and tells how to write one");
    }
    if (operator_kind != NULL && strcmp(operator_kind, "keys") != 0 &&
        strcmp(operator_kind, "pedal") != 0 && strcmp(operator_kind, "json") != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "--operator %s: say keys, pedal or json",
                       operator_kind);
    }
    options->run.json = operator_kind != NULL && strcmp(operator_kind, "json") == 0;
    options->run.pedal = operator_kind != NULL && strcmp(operator_kind, "pedal") == 0;
    if (operator_kind == NULL && isatty(STDIN_FILENO) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "standard input is no terminal: say --operator keys, pedal or json");
    }
    if (options->run.json && options->json_document) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--json and --operator json are one too many: the operator's last line "
                       "holds the results");
    }
    if (!up_rig_load(rig_file, &options->rig, failure)) {
        return false;
    }
    if (option_given(arguments, "typed") && !up_rig_type_readings(&options->rig, failure)) {
        return false;
    }
    if (options->rig.port_kind == UP_PORT_STDIN) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s reads samples from standard input, where the operator answers: use "
                       "`listen` for that",
                       rig_file);
    }
    if ((options->run.pedal && !can_pedal(options, measures, failure)) ||
        !up_panel_open(&options->rig, &options->run.lines, failure) ||
        !up_catalogue_open(catalogue_directory(arguments), UP_CATALOGUE_CREATE, &options->catalogue,
                           failure)) {
        return false;
    }
    options->run.catalogue = options->catalogue;
    options->run.rig = &options->rig;
    options->run.port = option_value(arguments, "port");
    options->run.operator_input = STDIN_FILENO;
    options->run.operator_output = options->run.json ? stdout : stderr;
    options->run.screen = !options->run.json && !option_given(arguments, "plain") &&
                          isatty(STDIN_FILENO) && isatty(STDERR_FILENO);
    if (options->run.screen) {
        setlocale(LC_CTYPE, "");
    }
    catch_signals();
    return true;
}

/* ---- going on with a run ---- */

bool read_resume(const struct arguments *arguments, const char *const *planned,
                 struct bench_options *options, struct up_failure *failure) {
    options->run.resume = arguments->words > 0 ? arguments->word[0] : "";
    for (; *planned != NULL; planned++) {
        if (option_given(arguments, *planned)) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--%s and --resume: the run goes on as it was planned; leave out one",
                           *planned);
        }
    }
    return true;
}

bool check_words(const struct arguments *arguments, struct up_failure *failure) {
    int most = option_given(arguments, "resume") ? 1 : 0;
    if (option_given(arguments, "store")) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--store goes with --replay RUN; what is measured is stored anyway");
    }
    return arguments->words <= most ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s: %s", arguments->word[most],
                   most == 1 ? "--resume goes on with one run at a time"
                             : "only a run's id is a word here, after --resume");
}

bool read_conditions(const struct arguments *arguments, struct bench_options *options,
                     struct up_failure *failure) {
    const char *name = option_value(arguments, "mass-class");
    if (name != NULL && !up_mass_class_from_name(name, &options->rig.mass_class)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--mass-class %s: say E2, F1, F2, M1, M2 or M3 (OIML R 111)", name);
    }
    return option_number(arguments, "air-temp-c", 0, 40, &options->rig.air.temp_c.value, failure);
}

bool only_replays(const struct arguments *arguments, struct up_failure *failure) {
    static const char *const good[] = {"replay", "store", "catalogue", "json", "units", "rig"};
    for (int i = 0; i < arguments->options; i++) {
        size_t known = 0;
        while (known < sizeof good / sizeof good[0] &&
               strcmp(arguments->option[i].name, good[known]) != 0) {
            known++;
        }
        if (known == sizeof good / sizeof good[0]) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--%s and --replay: a run is gone through as it was; leave out one",
                           arguments->option[i].name);
        }
    }
    return arguments->words == 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s: --replay takes one run and no words",
                   arguments->word[0]);
}
