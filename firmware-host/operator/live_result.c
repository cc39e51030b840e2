/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The end of a session in words: to be read from two metres, and what to do with it. */
#include <ctype.h>
#include <string.h>

#include "catalogue/claim.h"
#include "live_cells.h"
#include "operator/operator.h"
#include "text/memory.h"

/* "POSITIVE +164 g"; of a quick weighing "TANK POSITIVE": it knows no other water well. */
static void head(const struct up_result *result, const struct up_style *style, char *words,
                 size_t size) {
    if (result->quick.is) {
        snprintf(words, size, result->quick.aside != UP_ASIDE_NOT ? "PUT ASIDE" : "TANK %s",
                 up_class_name(result->answer.class));
        for (char *at = words; *at != '\0'; at++) {
            *at = (char)toupper((unsigned char)*at);
        }
        return;
    }
    double net_g = 1e3 * result->answer.buoyancy_kg.value;
    snprintf(words, size, style->imperial ? "%s %+.1f oz" : "%s %+.0f g",
             up_class_name(result->answer.class), style->imperial ? net_g / UP_G_PER_OZ : net_g);
    for (char *at = words; *at != ' ' && *at != '\0'; at++) {
        *at = (char)toupper((unsigned char)*at);
    }
}

/* What to do with one that is undecided; NULL: it is decided. */
static const char *remedy(const struct up_result *result, const struct up_style *style) {
    return result->answer.class != UP_CLASS_UNDECIDED ? NULL
           : result->has_model && !result->trials_would_decide
               ? style->imperial ? "more trials would not decide it: plan with the ounces"
                                 : "more trials would not decide it: plan with the grams"
           : style->imperial ? "measure more trials, or plan with the ounces"
                             : "measure more trials, or plan with the grams";
}

/* The tank's own stands first; where no other water was asked for, it is the answer. */
void up_live_result(const struct up_result *result, unsigned results, const struct up_style *style,
                    char *words, size_t words_size, char *sentence, size_t size) {
    unsigned first = results > 1 && !result[0].quick.is ? 1 : 0;
    char claim[UP_CLAIM_SCOPE_SIZE];
    const char *what = NULL;
    head(&result[first], style, words, words_size);
    for (unsigned i = first; i < results && what == NULL && !result[0].quick.is; i++) {
        what = remedy(&result[i], style);
    }
    char why[UP_CLAIM_ASIDE_SIZE];
    up_claim_aside(&result[0], why);
    UP_FREED char *aside = up_style_text(style, why);
    up_claim_scope(result[first].pieces, result[first].simulated, result[first].quick.is, claim);
    claim[0] = (char)toupper((unsigned char)claim[0]);
    snprintf(sentence, size, "%s%s%s%s%s%s", what != NULL ? "Undecided: " : "",
             what != NULL ? what : "", what != NULL ? ". " : "",
             aside[0] != '\0' ? "It needs the full weighing: " : "", aside,
             aside[0] != '\0' ? "." : claim);
    if (aside[0] == '\0' && strlen(sentence) + 1 < size) {
        strcat(sentence, ".");
    }
}

void up_operator_print_large(const struct up_result *result, unsigned results,
                             const struct up_style *style, FILE *stream) {
    enum { COLUMNS = UP_LIVE_COLUMNS - 1 };
    static const struct up_cell blank = {.text = " "};
    struct up_cell cell[LARGE_ROWS * COLUMNS];
    struct up_canvas canvas = {LARGE_ROWS, COLUMNS, style->isolate, cell};
    char words[40];
    head(&result[results > 1 && !result[0].quick.is ? 1 : 0], style, words, sizeof words);
    for (size_t i = 0; i < sizeof cell / sizeof cell[0]; i++) {
        cell[i] = blank;
    }
    live_large_wrap(&canvas, (struct place){.column = 1, .width = COLUMNS - 1}, LARGE_ROWS,
                    UP_LIVE_PLAIN, words);
    for (int row = 0; row < LARGE_ROWS; row++) {
        for (int i = 0; i < COLUMNS; i++) {
            fputs(cell[row * COLUMNS + i].text, stream);
        }
        fputc('\n', stream);
    }
}
