/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the commands share in reading their options. */
#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "catalogue/records.h"
#include "cli.h"
#include "text/json.h"
#include "text/text.h"

enum { WATER_KEYS_MAX = 32, DEFAULT_WATERS = 2 };

const char *option_value(const struct call *call, const char *name) {
    const char *value = NULL;
    for (int i = 0; i < call->options; i++) {
        if (strcmp(call->option[i].name, name) == 0) {
            value = call->option[i].value;
        }
    }
    return value;
}

bool option_given(const struct call *call, const char *name) {
    return option_value(call, name) != NULL;
}

/* Of an option, by the end of its name. */
static const char *unit_of(const char *name) {
    static const char *const ends[][2] = {
        {"temp-c", "C"}, {"-kg", "kg"},       {"-g", "g"},     {"g-kg", "g/kg"},   {"-m", "m"},
        {"-bar", "bar"}, {"-kg-m3", "kg/m3"}, {"-cm3", "cm3"}, {"-per-k", "per K"}};
    const char *unit = "";
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        size_t end = strlen(ends[i][0]), length = strlen(name);
        bool ends_so = length >= end && strcmp(name + length - end, ends[i][0]) == 0;
        unit = ends_so ? ends[i][1] : unit;
    }
    return unit;
}

static bool number_within(const char *name, const char *text, size_t length, double low,
                          double high, double *value, struct up_failure *failure) {
    if (up_text_number(text, length, value) && *value >= low && *value <= high) {
        return true;
    }
    double fahrenheit;
    char hint[80] = "";
    if (length > 1 && strchr("Ff", text[length - 1]) != NULL && strcmp(unit_of(name), "C") == 0 &&
        up_text_number(text, length - 1, &fahrenheit)) {
        snprintf(hint, sizeof hint, "; %g F is %.1f C", fahrenheit, (fahrenheit - 32) / 1.8);
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT, "--%s %.*s: give a number from %g to %g%s%s%s",
                   name, (int)(length > 80 ? 80 : length), text, low, high,
                   unit_of(name)[0] ? " " : "", unit_of(name), hint);
}

bool option_number(struct call *call, const char *name, double low, double high, double *value) {
    const char *text = option_value(call, name);
    double number = 0;
    if (text == NULL) {
        return true;
    }
    if (!number_within(name, text, strlen(text), low, high, &number, call->failure)) {
        return false;
    }
    *value = number;
    return true;
}

bool option_whole(struct call *call, const char *name, int low, int high, int *value) {
    double number = *value;
    if (!option_number(call, name, low, high, &number)) {
        return false;
    }
    if (number != floor(number)) {
        return refuse(call, "--%s %s: give a whole number", name, option_value(call, name));
    }
    *value = (int)number;
    return true;
}

bool option_list(struct call *call, const char *name, double *values, int room, int *count) {
    const char *text = option_value(call, name);
    *count = 0;
    while (text != NULL) {
        size_t length = strcspn(text, ",");
        if (*count == room) {
            return refuse(call, "--%s: give at most %d numbers", name, room);
        }
        if (!up_text_number(text, length, &values[*count]) || fabs(values[*count]) > 1e9) {
            return refuse(call, "--%s %.80s: \"%.*s\" is not a number; write them like 4,6,8", name,
                          option_value(call, name), (int)(length > 40 ? 40 : length), text);
        }
        ++*count;
        text = text[length] == ',' ? text + length + 1 : NULL;
    }
    return true;
}

bool option_text_value(struct call *call, const char *name, char to[UP_NAME_SIZE]) {
    const char *text = option_value(call, name);
    if (text == NULL) {
        return true;
    }
    if (strlen(text) >= UP_NAME_SIZE) {
        return refuse(call, "--%s is longer than %d bytes", name, UP_NAME_SIZE - 1);
    }
    memcpy(to, text, strlen(text) + 1);
    return true;
}

const char *catalogue_directory(const struct call *call) {
    const char *given = option_value(call, "catalogue");
    const char *environment = getenv("UPTHRUST_CATALOGUE");
    if (given != NULL) {
        return given;
    }
    return environment != NULL && environment[0] != '\0' ? environment : "catalogue";
}

bool open_catalogue(struct call *call, enum up_catalogue_mode mode) {
    const char *directory = catalogue_directory(call);
    UP_FREED char *file = up_text_format("%s/catalogue.sqlite", directory);
    bool missing = mode != UP_CATALOGUE_CREATE && access(file, F_OK) != 0;
    bool good = up_catalogue_open(directory, mode, &call->catalogue, call->failure);
    if (good && mode == UP_CATALOGUE_READ) { /* a session that writes has a screen of its own */
        up_catalogue_watch(call->catalogue, progress_show);
    }
    if (!good && missing) {
        up_fail(call->failure, call->failure->status,
                "there is no catalogue in %.120s yet: begin with `upthrust item add --name \"My "
                "fin\" --kind fin` and `upthrust measure`, look around with `upthrust demo --dir "
                "demo`, or name another one with --catalogue DIR",
                directory);
    }
    return good;
}

/* ---- how results are shown ---- */

static bool bears_colour(void) {
    const char *no_color = getenv("NO_COLOR"), *terminal = getenv("TERM");
    return isatty(STDOUT_FILENO) && (no_color == NULL || no_color[0] == '\0') && terminal != NULL &&
           strcmp(terminal, "dumb") != 0;
}

static bool bears_utf8(void) {
    return isatty(STDOUT_FILENO) && setlocale(LC_CTYPE, "") != NULL &&
           strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
}

int terminal_columns(int descriptor) {
    struct winsize size = {0};
    return isatty(descriptor) && ioctl(descriptor, TIOCGWINSZ, &size) == 0 ? size.ws_col : 0;
}

bool style_asked(struct call *call, struct up_style *style) {
    const char *units = option_value(call, "units");
    *style = (struct up_style){.colour = bears_colour(),
                               .isolate = bears_utf8(),
                               .columns = terminal_columns(STDOUT_FILENO)};
    style->imperial = units != NULL && strcmp(units, "imperial") == 0;
    return units == NULL || style->imperial || strcmp(units, "metric") == 0 ||
           refuse(call, "--units %.80s: give metric or imperial", units);
}

void print_note(void *context, const char *text) {
    (void)context;
    up_text_lines(stderr, "note: ", text, terminal_columns(STDERR_FILENO));
}

void print_json(json_t *json) {
    up_json_write(json, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(15));
    putchar('\n');
    json_decref(json);
}

/* ---- waters ---- */

/* Where one key of --water goes; NULL where it is none. */
static double *water_key(struct up_water *water, struct up_water_given *given, const char *name,
                         size_t length) {
    if (length == strlen("temp_c") && strncmp(name, "temp_c", length) == 0) {
        return &water->temp_c;
    }
    if (length == strlen("depth_m") && strncmp(name, "depth_m", length) == 0) {
        return &water->depth_m;
    }
    for (size_t i = 0; up_water_key_at(i) != NULL; i++) {
        const struct up_water_key *key = up_water_key_at(i);
        if (strlen(key->name) == length && strncmp(key->name, name, length) == 0) {
            return (double *)(void *)((char *)given + key->offset);
        }
    }
    return NULL;
}

static bool refuse_water_key(const char *text, size_t length, bool known,
                             struct up_failure *failure) {
    char list[400] = "temp_c, depth_m";
    if (known) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "--water: %.*s: give a number behind the =",
                       (int)(length > 60 ? 60 : length), text);
    }
    for (size_t i = 0; up_water_key_at(i) != NULL; i++) {
        size_t used = strlen(list);
        snprintf(list + used, sizeof list - used, ", %s", up_water_key_at(i)->name);
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--water: %.*s: give KEY=NUMBER, with one of the keys %s",
                   (int)(length > 40 ? 40 : length), text, list);
}

/* "temp_c=12,salinity_psu=8" */
static bool read_water_keys(const char *text, struct up_water *water, struct up_water_given *given,
                            struct up_failure *failure) {
    const double *seen[WATER_KEYS_MAX];
    size_t count = 0;
    for (size_t length; text != NULL; text = text[length] == ',' ? text + length + 1 : NULL) {
        length = strcspn(text, ",");
        size_t name = strcspn(text, "=,");
        double *target = water_key(water, given, text, name);
        if (target == NULL || text[name] != '=' || count == WATER_KEYS_MAX ||
            !up_text_number(text + name + 1, length - name - 1, target)) {
            return refuse_water_key(text, length, target != NULL && count < WATER_KEYS_MAX,
                                    failure);
        }
        for (size_t i = 0; i < count; i++) {
            if (seen[i] == target) {
                return up_fail(failure, UP_STATUS_WRONG_INPUT,
                               "--water: %.*s is given twice: keep one", (int)name, text);
            }
        }
        seen[count++] = target;
    }
    return true;
}

static bool name_water(struct up_water *water, const char *text, size_t length, bool *known,
                       struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(text, length);
    bool good = length > 0 && strlen(clean) < sizeof water->name && strcmp(clean, "tank") != 0;
    if (good) {
        *known = up_water_by_name(clean, water);
    } else {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "--water: give a name of 1 to 47 bytes first, not \"tank\"");
    }
    return good;
}

static bool read_water(const char *text, struct up_water *water, struct up_failure *failure) {
    struct up_water_given given = up_water_nothing_given();
    struct up_water_density density;
    size_t length = strcspn(text, ",");
    bool known = false;
    if (!name_water(water, text, length, &known, failure) ||
        (text[length] == ',' && !read_water_keys(text + length + 1, water, &given, failure))) {
        return false;
    }
    if (isnan(water->temp_c)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--water %s: a water of your own needs temp_c=; `upthrust water --list` "
                       "shows those known by name",
                       water->name);
    }
    if (!known) {
        water->model = up_water_model_given(&given);
    }
    return up_water_from_given(&given, water, failure) &&
           up_water_density(water, &density, failure);
}

/* Results are distinguished by the water's name. */
static bool is_new_name(const struct up_water *water, unsigned count, struct up_failure *failure) {
    for (unsigned i = 0; i < count; i++) {
        if (strcmp(water[i].name, water[count].name) == 0) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--water %s is asked for twice: give one of them another name",
                           water[count].name);
        }
    }
    return true;
}

bool waters_asked(struct call *call, struct up_water *water, unsigned *count) {
    *count = 0;
    for (int i = 0; i < call->options; i++) {
        if (strcmp(call->option[i].name, "water") != 0) {
            continue;
        }
        if (*count == UP_WATERS_MAX) {
            return refuse(call, "at most %d waters", UP_WATERS_MAX);
        }
        if (!read_water(call->option[i].value, &water[*count], call->failure) ||
            !is_new_name(water, *count, call->failure)) {
            return false;
        }
        ++*count;
    }
    if (*count == 0) {
        for (*count = 0; *count < DEFAULT_WATERS; ++*count) {
            up_water_by_name(up_named_water_at(*count)->name, &water[*count]);
        }
    }
    return true;
}

/* ---- verbs ---- */

static bool fail_verb(const char *command, const struct verb *verbs, size_t count,
                      struct up_failure *failure) {
    char *list = up_text_format("%s", verbs[0].name);
    for (size_t i = 1; i < count; i++) {
        char *longer = up_text_format("%s%s%s", list, i + 1 < count ? ", " : " or ", verbs[i].name);
        free(list);
        list = longer;
    }
    up_fail(failure, UP_STATUS_WRONG_INPUT, "%s: give %s", command, list);
    free(list);
    return false;
}

bool run_verb(const char *command, const struct verb *verbs, size_t count, struct call *call) {
    const char *word = call->words > 0 ? call->word[0] : "";
    size_t i = 0;
    while (i < count && strcmp(word, verbs[i].name) != 0) {
        i++;
    }
    if (i < count && call->words > 1 && strcmp(word, "list") == 0 &&
        strcmp(command, "item") != 0) { /* whose list takes words to look for */
        return refuse(call, "%.80s: %s list takes only options", call->word[1], command);
    }
    if (i == count ? !fail_verb(command, verbs, count, call->failure)
                   : !open_catalogue(call, verbs[i].mode)) {
        return false;
    }
    return verbs[i].run(call);
}

/* ---- signals ---- */

volatile sig_atomic_t signalled;

static void note_signal(int number) {
    signalled = number;
}

/* One that is ignored stays so: `nohup` and shells mean it. */
static void catch_signal(int number) {
    struct sigaction action = {.sa_handler = note_signal}, before;
    sigemptyset(&action.sa_mask);
    if (sigaction(number, NULL, &before) == 0 && before.sa_handler != SIG_IGN) {
        sigaction(number, &action, NULL);
    }
}

void catch_signals(void) {
    catch_signal(SIGINT);
    catch_signal(SIGTERM);
    catch_signal(SIGHUP);
    signal(SIGPIPE, SIG_IGN); /* a reader that went away shows as a failed write */
}

void die_of_signal(void) {
    if (signalled != 0) {
        fflush(NULL);
        signal(signalled, SIG_DFL);
        raise(signalled);
    }
}
