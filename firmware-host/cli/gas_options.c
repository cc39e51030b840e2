/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What only a person knows about the gas in an item: given by an option, or asked. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "cli.h"
#include "text/text.h"

enum { TRIES = 3 };
static const double PRESSURE_MOST_BAR = 400; /* beyond any cylinder (a choice of ours) */

bool person_is_there(const struct call *call) {
    return isatty(STDIN_FILENO) && isatty(STDERR_FILENO) && !option_given(call, "json");
}

/* Byte by byte: what is typed ahead is for the next reader. False at the end of the input. */
static bool read_line(char answer[ANSWER_SIZE]) {
    size_t length = 0;
    char byte;
    ssize_t got;
    while ((got = read(STDIN_FILENO, &byte, 1)) == 1 && byte != '\n') {
        if (length + 1 < ANSWER_SIZE && byte != '\r') {
            answer[length++] = byte;
        }
    }
    while (length > 0 && answer[length - 1] == ' ') {
        length--;
    }
    answer[length] = '\0';
    return got == 1;
}

bool ask_person(const char *question, char answer[ANSWER_SIZE]) {
    fprintf(stderr, "%s ", question);
    fflush(stderr);
    return read_line(answer);
}

/* ---- foam and closed air ---- */

static bool ask_holds_gas(struct up_item *item, struct up_failure *failure) {
    char answer[ANSWER_SIZE] = "";
    up_text_print(stderr,
                  "%s: does it hold gas that the water squeezes, such as foam (neoprene) "
                  "or a bladder?\n",
                  item->kind);
    for (int i = 0; i < TRIES && ask_person("Type yes, no or unknown, then press Enter:", answer);
         i++) {
        item->holds_gas = up_holds_gas_of(answer);
        if (item->holds_gas != UP_GAS_NOT_STATED) {
            return true;
        }
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "no answer: give --holds-gas yes, no or unknown");
}

bool take_holds_gas(struct call *call, struct up_item *item) {
    const char *word = option_value(call, "holds-gas");
    item->compressible = false; /* settled from holds_gas */
    item->holds_gas = UP_GAS_NOT_STATED;
    if (word != NULL) {
        item->holds_gas = up_holds_gas_of(word);
        return item->holds_gas != UP_GAS_NOT_STATED ||
               refuse(call, "--holds-gas %.40s: give yes, no or unknown (which counts as yes)",
                      word);
    }
    if (up_kind_facts(item->kind)->holds_gas != UP_GAS_NOT_STATED) {
        return true;
    }
    if (person_is_there(call)) {
        return ask_holds_gas(item, call->failure);
    }
    return refuse(call,
                  "does this %.40s hold gas, such as foam? Give --holds-gas yes, no or unknown "
                  "(which counts as yes)",
                  item->kind);
}

/* ---- what is filled ---- */

static bool ask_pressure(struct up_filling *filling, struct up_failure *failure) {
    char answer[ANSWER_SIZE];
    for (int i = 0;
         i < TRIES && ask_person("Pressure in it now, in bar, as its gauge shows:", answer); i++) {
        if (up_text_number(answer, strlen(answer), &filling->pressure_bar) &&
            filling->pressure_bar >= 0 && filling->pressure_bar <= PRESSURE_MOST_BAR) {
            if (ask_person("Gas in it (air, EAN32, ...):", answer) && answer[0] != '\0') {
                snprintf(filling->gas, sizeof filling->gas, "%.31s", answer);
                return true;
            }
        }
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT, "no answer: give --pressure-bar and --gas");
}

static bool ask_emptied(struct up_filling *filling, struct up_failure *failure) {
    char answer[ANSWER_SIZE];
    fputs("Press all gas out of it and close its valves.\n", stderr);
    if (ask_person("Type yes when it is empty, then press Enter:", answer) &&
        strcasecmp(answer, "yes") == 0) {
        snprintf(filling->gas, sizeof filling->gas, "none");
        return true;
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "it must be emptied of gas before it is weighed; then give --gas none");
}

/* The options alone; *given where there are any. */
static bool read_filling(struct call *call, struct up_filling *filling, bool *given) {
    const char *gas = option_value(call, "gas");
    bool pressure = option_given(call, "pressure-bar");
    *given = gas != NULL;
    if (gas != NULL) {
        UP_FREED char *clean = up_text_clean(gas, strlen(gas));
        bool fits = clean[0] != '\0' && strlen(clean) < sizeof filling->gas;
        snprintf(filling->gas, sizeof filling->gas, "%.31s", fits ? clean : "");
        if (!fits) {
            return refuse(call, "--gas: a word of 1 to 31 bytes");
        }
    }
    if (!option_number(call, "pressure-bar", 0, PRESSURE_MOST_BAR, &filling->pressure_bar)) {
        return false;
    }
    bool none = gas != NULL && strcmp(gas, "none") == 0;
    return pressure == (gas != NULL && !none) ||
           refuse(call, none ? "--gas none: what was emptied has no pressure"
                             : "give both --pressure-bar and --gas");
}

bool take_filling(struct call *call, bool by_keys, const struct up_item *item,
                  struct up_filling *filling) {
    enum up_filled filled = up_kind_facts(item->kind)->filled;
    bool given, person = by_keys && person_is_there(call);
    *filling = (struct up_filling){{0}, 0};
    if (!read_filling(call, filling, &given)) {
        return false;
    }
    if (filled == UP_FILLED_NEVER || given) {
        bool none = strcmp(filling->gas, "none") == 0;
        return filled != UP_FILLED_EMPTIED || none ||
               refuse(call, "a %.40s is weighed emptied of gas: --gas none says that it is",
                      item->kind);
    }
    if (person) {
        up_text_print(stderr, "%s\n", item->name);
        return filled == UP_FILLED_EMPTIED ? ask_emptied(filling, call->failure)
                                           : ask_pressure(filling, call->failure);
    }
    return refuse(call,
                  filled == UP_FILLED_EMPTIED
                      ? "a %.40s is weighed emptied of gas: give --gas none when it is"
                      : "what is in a %.40s has weight: give --pressure-bar and --gas",
                  item->kind);
}
