/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "session_options.h"

#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "text/text.h"

/* A pedal cannot enter numbers: none may be asked for. */
static bool can_pedal(const struct session_options *options, bool measures,
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
                       "--operator pedal: readings are typed here, which no pedal can do: use "
                       "--operator keys");
    }
    return !measures || has_thermometer || !isnan(rig->temp_c) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--operator pedal: the water's temperature would have to be typed: give [tank] "
                   "temp_c in %s, or a thermometer in [line]",
                   rig->path);
}

bool read_operator(struct call *call, bool document, enum up_operator_kind *kind) {
    static const char *const names[] = {
        [UP_OPERATOR_KEYS] = "keys", [UP_OPERATOR_JSON] = "json", [UP_OPERATOR_PEDAL] = "pedal"};
    const char *word = option_value(call, "operator");
    int found = UP_OPERATOR_KEYS;
    while (word != NULL && found <= UP_OPERATOR_PEDAL && strcmp(word, names[found]) != 0) {
        found++;
    }
    *kind = (enum up_operator_kind)found;
    if (found > UP_OPERATOR_PEDAL) {
        return refuse(call, "--operator %s: give keys, pedal or json", word);
    }
    return *kind != UP_OPERATOR_JSON || !document ||
           refuse(call,
                  "--json and --operator json: give only one; the operator's last line contains "
                  "the results");
}

/* ---- commands to be typed next ---- */

char *quoted(const char *text) {
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
                                "_./:,+=@%-";
    char *result = up_text_format("%s", text);
    if (text[0] != '\0' && strspn(text, plain) == strlen(text)) {
        return result;
    }
    free(result);
    result = up_allocate(4 * strlen(text) + 3, 1);
    char *at = result;
    *at++ = '\'';
    for (; *text != '\0'; text++) {
        at += sprintf(at, *text == '\'' ? "'\\''" : "%c", *text);
    }
    *at = '\'';
    return result;
}

static char *started_as; /* NULL: by its name */

void program_started_by(const char *path) {
    UP_FREED char *shown = up_text_for_terminal(path);
    if (strchr(path, '/') != NULL && strlen(path) <= 200 && strcmp(shown, path) == 0) {
        started_as = quoted(path);
    }
}

const char *program_name(void) {
    return started_as != NULL ? started_as : "upthrust";
}

static void append(char **text, const char *option, const char *value) {
    UP_FREED char *word = value[0] != '\0' ? quoted(value) : up_text_format("%s", "");
    char *more = up_text_format("%s --%s%s%s", *text, option, word[0] != '\0' ? " " : "", word);
    free(*text);
    *text = more;
}

/* Where it is not the usual one. */
static void append_catalogue(char **text, const struct up_catalogue *catalogue) {
    const struct call none = {.options = 0};
    const char *directory = up_catalogue_directory(catalogue);
    if (strcmp(directory, catalogue_directory(&none)) != 0) {
        append(text, "catalogue", directory);
    }
}

char *resume_as_typed(const char *what, const struct call *call) {
    char *text = up_text_format("%s %s --resume", program_name(), what);
    for (int i = 0; i < call->options; i++) {
        if (strcmp(call->option[i].name, "resume") != 0) {
            append(&text, call->option[i].name, call->option[i].value);
        }
    }
    return text;
}

/* With the rig, port, catalogue and operator of this bench. */
static char *on_this_bench(const struct session_options *options, const char *what) {
    static const char *const operators[] = {
        [UP_OPERATOR_JSON] = "json", [UP_OPERATOR_PEDAL] = "pedal"};
    const struct up_session_settings *settings = &options->settings;
    char *text = up_text_format("%s %s", program_name(), what);
    append(&text, "rig", options->rig.path);
    if (settings->port != NULL) {
        append(&text, "port", settings->port);
    }
    append_catalogue(&text, settings->catalogue);
    if (settings->operator_kind != UP_OPERATOR_KEYS) {
        append(&text, "operator", operators[settings->operator_kind]);
    }
    return text;
}

char *command_on(const struct up_catalogue *catalogue, const char *what) {
    char *text = up_text_format("%s %s", program_name(), what);
    append_catalogue(&text, catalogue);
    return text;
}

void print_next_commands(const struct session_options *options) {
    UP_FREED char *measure = on_this_bench(options, "measure");
    UP_FREED char *add = command_on(options->catalogue, "item add --name \"My fin\" --kind fin");
    up_text_print(stdout, "  %s\n", add);
    up_text_print(stdout, "  %s%s --item \"My fin\"\n", measure, options->typed ? " --typed" : "");
}

static char *resume_command(void *context, const char *what, const char *run_id) {
    if (strcmp(what, "measure") != 0 && strcmp(what, "calibrate") != 0) {
        return NULL; /* a record of elsewhere may say anything */
    }
    UP_FREED char *text = on_this_bench(context, what);
    return up_text_format("%s --resume %.8s", text, run_id);
}

/* ---- opening ---- */

/* Those that the files in rigs/ come with. Two benches with one id would take each other's
   calibrations for their own. */
static bool is_example(const struct up_rig *rig) {
    static const char *const ids[] = {"hanging-scale", "numbered-line", "sixteen-columns",
                                      "wet-hands"};
    for (size_t i = 0; i < sizeof ids / sizeof ids[0]; i++) {
        if (strcmp(rig->id, ids[i]) == 0) {
            return true;
        }
    }
    return false;
}

static bool refuse_example(const struct up_rig *rig, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s: the id %s is that of an example: give your bench a name that no other "
                   "has, such as id = %s-of-our-club-1",
                   rig->path, rig->id, rig->id);
}

static bool read_rig(struct call *call, struct session_options *options) {
    const char *file = option_value(call, "rig");
    if (file == NULL) {
        return refuse(
            call,
            "give --rig FILE: `upthrust setup --rig FILE` writes one, `upthrust help rig` lists "
            "all keys");
    }
    if (option_value(call, "operator") == NULL && isatty(STDIN_FILENO) == 0) {
        return refuse(call,
                      "standard input is not a terminal: give --operator keys, pedal or json");
    }
    if (!up_rig_load(file, &options->rig, call->failure) ||
        (options->typed && !up_rig_type_readings(&options->rig, call->failure))) {
        return false;
    }
    if (is_example(&options->rig)) {
        return refuse_example(&options->rig, call->failure);
    }
    return options->rig.port_kind != UP_PORT_STDIN ||
           refuse(call,
                  "%s reads samples from standard input, where the operator answers: use "
                  "`listen` for that",
                  file);
}

static void fill_settings(struct call *call, bool measures, struct session_options *options) {
    struct up_session_settings *settings = &options->settings;
    bool json = settings->operator_kind == UP_OPERATOR_JSON;
    settings->catalogue = options->catalogue;
    settings->imperial = options->style.imperial;
    settings->rig = &options->rig;
    settings->port = option_value(call, "port");
    settings->operator_input = STDIN_FILENO;
    settings->operator_output = json ? stdout : stderr;
    settings->screen =
        !json && !option_given(call, "plain") && isatty(STDIN_FILENO) && isatty(STDERR_FILENO);
    settings->cautions = cautions_of(measures ? "measure" : "calibrate");
    settings->signalled = &signalled;
    settings->caller = (struct up_session_caller){options, print_note, resume_command};
}

bool open_session(struct call *call, bool measures, struct session_options *options) {
    memset(options, 0, sizeof *options);
    struct up_session_settings *settings = &options->settings;
    options->json_document = option_given(call, "json");
    options->typed = option_given(call, "typed");
    if (!style_asked(call, &options->style) ||
        !read_operator(call, options->json_document, &settings->operator_kind) ||
        !read_rig(call, options) ||
        (settings->operator_kind == UP_OPERATOR_PEDAL &&
         !can_pedal(options, measures, call->failure)) ||
        !up_panel_open(&options->rig, &settings->panel, call->failure) ||
        !up_catalogue_open(catalogue_directory(call), UP_CATALOGUE_CREATE, &options->catalogue,
                           call->failure)) {
        return false;
    }
    fill_settings(call, measures, options);
    if (settings->screen) {
        setlocale(LC_CTYPE, "");
    }
    catch_signals();
    return true;
}

/* The lamps show the first result, which is the tank's own water. */
void close_session(struct session_options *options, const struct up_result *result) {
    up_catalogue_close(options->catalogue);
    if (result != NULL) {
        fflush(stdout);
        up_panel_show_class(options->settings.panel, result->answer.class, &signalled);
    }
    up_panel_close(options->settings.panel);
}

/* ---- resuming ---- */

bool read_resume(struct call *call, const char *const *planned, struct session_options *options) {
    options->settings.resume = call->words > 0 ? call->word[0] : "";
    for (; *planned != NULL; planned++) {
        if (option_given(call, *planned)) {
            return refuse(call,
                          "--%s and --resume: the run continues as it was planned; leave out one",
                          *planned);
        }
    }
    return true;
}

bool check_words(struct call *call) {
    int most = option_given(call, "resume") ? 1 : 0;
    if (option_given(call, "store")) {
        return refuse(call, "--store needs --replay RUN; what is measured is stored anyway");
    }
    return call->words <= most ||
           refuse(call, "%.80s: %s", call->word[most],
                  most == 1 ? "--resume continues one run at a time"
                            : "the only word taken here is a run's id, after --resume");
}

bool read_conditions(struct call *call, struct session_options *options) {
    const char *name = option_value(call, "mass-class");
    if (name != NULL && !up_mass_class_from_name(name, &options->rig.mass_class)) {
        return refuse(call, "--mass-class %s: give E2, F1, F2, M1, M2 or M3 (OIML R 111)", name);
    }
    return option_number(call, "air-temp-c", 0, 40, &options->rig.air.temp_c.value);
}

bool only_replays(struct call *call) {
    static const char *const good[] = {"replay", "store", "catalogue", "json", "units", "rig"};
    for (int i = 0; i < call->options; i++) {
        size_t known = 0;
        while (known < sizeof good / sizeof good[0] &&
               strcmp(call->option[i].name, good[known]) != 0) {
            known++;
        }
        if (known == sizeof good / sizeof good[0]) {
            return refuse(call, "--%s and --replay: a run is replayed as it was; leave out one",
                          call->option[i].name);
        }
    }
    return call->words == 0 ||
           refuse(call, "%.80s: --replay takes one run and nothing else", call->word[0]);
}
