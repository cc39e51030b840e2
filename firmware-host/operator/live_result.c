/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The end of a session in words: to be read from two metres, and what to do with it. */
#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "catalogue/claim.h"
#include "live.h"

static void add(char *text, size_t size, const char *more) {
    size_t length = strlen(text);
    snprintf(text + length, size - length, "%s", more);
}

/* "fresh POSITIVE +164.2 g +- 0.5 g" */
static void name_result(const struct up_result *result, char text[160]) {
    char class[16], interval[UP_CLAIM_SIZE];
    up_claim_interval(1e3 * result->answer.expanded_u_kg, 1e3 * result->answer.stuck_air_kg,
                      interval);
    snprintf(class, sizeof class, "%s", up_class_name(result->answer.class));
    for (char *at = class; *at != '\0'; at++) {
        *at = (char)toupper((unsigned char)*at);
    }
    snprintf(text, 160, "%.40s %s %+.1f g %s", result->water.name, class,
             1e3 * result->answer.buoyancy_kg.value, interval);
}

/* The tank's own stands in the panel; where no other water was asked for, it is the answer. */
void up_live_result(const struct up_result *result, unsigned results, char *words,
                    size_t words_size, char *sentence, size_t size) {
    unsigned first = results > 1 ? 1 : 0;
    const struct up_result *answer = &result[first];
    char text[160], claim[UP_CLAIM_SCOPE_SIZE];
    bool undecided = false;
    snprintf(words, words_size, "%s %+.0f g", up_class_name(answer->answer.class),
             1e3 * answer->answer.buoyancy_kg.value);
    for (char *at = words; *at != ' ' && *at != '\0'; at++) {
        *at = (char)toupper((unsigned char)*at);
    }
    sentence[0] = '\0';
    for (unsigned i = first; i < results && i < first + 2; i++) {
        name_result(&result[i], text);
        add(sentence, size, i > first ? "; " : "");
        add(sentence, size, text);
        undecided = undecided || result[i].answer.class == UP_CLASS_UNDECIDED;
    }
    up_claim_scope(answer->pieces, answer->simulated, claim);
    add(sentence, size,
        undecided ? ". Undecided: measure more trials, or plan with the grams. " : ". ");
    add(sentence, size, claim);
}
