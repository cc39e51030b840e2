/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The end of a session in words: to be read from two metres, and what to do with it. */
#include <ctype.h>
#include <string.h>

#include "catalogue/claim.h"
#include "live.h"

static void add(char *text, size_t size, const char *more) {
    size_t length = strlen(text);
    snprintf(text + length, size - length, "%s", more);
}

/* "fresh POSITIVE +164.2 g +- 0.5 g" */
static void name_result(const struct up_result *result, const struct up_style *style,
                        char text[160]) {
    char class[16], net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
    snprintf(class, sizeof class, "%s", up_class_name(result->answer.class));
    for (char *at = class; *at != '\0'; at++) {
        *at = (char)toupper((unsigned char)*at);
    }
    up_style_mass(style, 1e3 * result->answer.buoyancy_kg.value, net);
    up_style_interval(style, 1e3 * result->answer.expanded_u_kg, 1e3 * result->answer.stuck_air_kg,
                      u);
    snprintf(text, 160, "%.40s %s %s %s", result->water.name, class, net, u);
}

/* The tank's own stands in the panel; where no other water was asked for, it is the answer. What to
   do stands before the second water, which a narrow screen may cut. */
void up_live_result(const struct up_result *result, unsigned results, const struct up_style *style,
                    char *words, size_t words_size, char *sentence, size_t size) {
    unsigned first = results > 1 ? 1 : 0;
    bool ounces = style->imperial;
    const struct up_result *answer = &result[first];
    char text[160], claim[UP_CLAIM_SCOPE_SIZE];
    bool undecided = false;
    double net_g = 1e3 * answer->answer.buoyancy_kg.value;
    snprintf(words, words_size, ounces ? "%s %+.1f oz" : "%s %+.0f g",
             up_class_name(answer->answer.class), ounces ? net_g / UP_G_PER_OZ : net_g);
    for (char *at = words; *at != ' ' && *at != '\0'; at++) {
        *at = (char)toupper((unsigned char)*at);
    }
    unsigned end = results < first + 2 ? results : first + 2;
    for (unsigned i = first; i < end; i++) {
        undecided = undecided || result[i].answer.class == UP_CLASS_UNDECIDED;
    }
    up_claim_scope(answer->pieces, answer->simulated, claim);
    claim[0] = (char)toupper((unsigned char)claim[0]);
    sentence[0] = '\0';
    for (unsigned i = first; i < end; i++) {
        name_result(&result[i], style, text);
        add(sentence, size, text);
        if (i == first) {
            add(sentence, size,
                !undecided ? ". "
                : ounces   ? ". Undecided: measure more trials, or plan with the ounces. "
                           : ". Undecided: measure more trials, or plan with the grams. ");
            add(sentence, size, claim);
            add(sentence, size, end > first + 1 ? ". Also: " : "");
        }
    }
}
