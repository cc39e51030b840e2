/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is known of a kind of gear before any of it is weighed (common practice, no source). */
#include <strings.h>

#include "catalogue/kind.h"

/* Water does not compress the gas in a stiff case; it does compress foam. */
static const struct up_kind_facts facts[] = {
    {"fin", UP_GAS_NO, UP_FILLED_NEVER},
    {"fins", UP_GAS_NO, UP_FILLED_NEVER},
    {"lead", UP_GAS_NO, UP_FILLED_NEVER},
    {"weight", UP_GAS_NO, UP_FILLED_NEVER},
    {"weights", UP_GAS_NO, UP_FILLED_NEVER},
    {"light", UP_GAS_NO, UP_FILLED_NEVER},
    {"torch", UP_GAS_NO, UP_FILLED_NEVER},
    {"mask", UP_GAS_NO, UP_FILLED_NEVER},
    {"reel", UP_GAS_NO, UP_FILLED_NEVER},
    {"spool", UP_GAS_NO, UP_FILLED_NEVER},
    {"knife", UP_GAS_NO, UP_FILLED_NEVER},
    {"snorkel", UP_GAS_NO, UP_FILLED_NEVER},
    {"backplate", UP_GAS_NO, UP_FILLED_NEVER},
    {"slate", UP_GAS_NO, UP_FILLED_NEVER},
    /* Stiff, but what is in them has weight. */
    {"cylinder", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"cylinders", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"tank", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"bottle", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"pony", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    {"stage", UP_GAS_NO, UP_FILLED_TO_PRESSURE},
    /* Of the others it is asked. */
    {"boot", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"boots", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"hood", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"glove", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"gloves", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"suit", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"vest", UP_GAS_NOT_STATED, UP_FILLED_NEVER},
    {"jacket", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
    {"wing", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
    {"bladder", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
    {"buoy", UP_GAS_NOT_STATED, UP_FILLED_EMPTIED},
};

const struct up_kind_facts *up_kind_facts_at(unsigned i) {
    return i < sizeof facts / sizeof facts[0] ? &facts[i] : NULL;
}

const struct up_kind_facts *up_kind_facts(const char *kind) {
    static const struct up_kind_facts of_others = {"", UP_GAS_NOT_STATED, UP_FILLED_NEVER};
    for (unsigned i = 0; i < sizeof facts / sizeof facts[0]; i++) {
        if (strcasecmp(facts[i].name, kind) == 0) {
            return &facts[i];
        }
    }
    return &of_others;
}
