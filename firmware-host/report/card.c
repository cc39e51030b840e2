/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a label or a page shows of one item. */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/card.h"
#include "text/text.h"

/* ---- typography: what a terminal spells with letters that it surely has ---- */

char *up_typeset(char *text) {
    char *whole = up_allocate(strlen(text) + 1, 3), *to = whole;
    size_t length = strlen(text);
    for (const char *from = text; *from != '\0'; from++) {
        bool inside = from > text && isalnum((unsigned char)from[-1]); /* of a date, of an id */
        bool minus = from[0] == '-' && isdigit((unsigned char)from[1]) && !inside;
        if (from[0] == '+' && from[1] == '-') {
            to += sprintf(to, "±");
            from++;
        } else if (minus) {
            to += sprintf(to, "−");
        } else if (from[0] == ' ' && (from[1] == 'C' || from[1] == 'F') &&
                   from + 2 == text + length) {
            to += sprintf(to, " °");
        } else if (*from == '3' && from > text + 1 && strchr("mt", from[-1]) != NULL &&
                   !isalnum((unsigned char)from[1])) { /* of kg/m3, of lb/ft3 */
            to += sprintf(to, "³");
        } else {
            *to++ = *from;
        }
    }
    *to = '\0';
    free(text);
    return whole;
}

/* Adds a piece behind a comma. */
static void add(char **text, const char *lead, const char *piece, const char *comma) {
    UP_FREED char *clean = up_text_for_terminal(piece);
    if (clean[0] != '\0') {
        char *both =
            up_text_format("%s%s%s%s", *text, (*text)[0] == '\0' ? "" : comma, lead, clean);
        free(*text);
        *text = both;
    }
}

static char *empty(void) {
    return up_text_format("%s", "");
}

/* ---- one water ---- */

static enum up_card_place place_of(const char *class) {
    return strcmp(class, "positive") == 0   ? UP_CARD_FLOATS
           : strcmp(class, "neutral") == 0  ? UP_CARD_HOVERS
           : strcmp(class, "negative") == 0 ? UP_CARD_SINKS
                                            : UP_CARD_UNDECIDED;
}

/* One that is put aside says so instead. */
static const char *const class_words[][2] = {[UP_CARD_UNDECIDED] = {"UNDECIDED", "too near a line"},
                                             [UP_CARD_FLOATS] = {"POSITIVE", "floats"},
                                             [UP_CARD_HOVERS] = {"NEUTRAL", "hovers"},
                                             [UP_CARD_SINKS] = {"NEGATIVE", "sinks"}};

/* Of what is shown: nothing at all goes neither way. */
static const char *direction_of(const char *net) {
    double shown = strtod(net, NULL);
    return shown > 0 ? " UP" : shown < 0 ? " DOWN" : "";
}

/* Its ends: where it stands alone, what is given or taken could be read as weights. */
static void fill_interval(struct up_card_water *water, const struct up_row *row,
                          const struct up_style *style) {
    char low[UP_SHOWN_SIZE], high[UP_SHOWN_SIZE];
    if (row->at_most) {
        water->interval = up_text_format("or less: no lower end (95 %%)");
        water->range = up_text_format("or less");
        return;
    }
    double stuck_g = up_style_has_stuck(row->stuck_air_g) ? row->stuck_air_g : 0;
    up_style_brief(style, row->buoyancy_g - row->expanded_u_g - stuck_g, low);
    up_style_brief(style, row->buoyancy_g + row->expanded_u_g, high);
    bool known = isfinite(row->buoyancy_g) && isfinite(row->expanded_u_g);
    water->interval =
        up_typeset(known ? up_text_format("%.*s to %s (95 %%)", (int)strcspn(low, " "), low, high)
                         : up_text_format("interval not known"));
    if (known && !style->imperial) { /* whole grams, rounded outwards */
        snprintf(low, sizeof low, "%+.0f", floor(row->buoyancy_g - row->expanded_u_g - stuck_g));
        snprintf(high, sizeof high, "%+.0f", ceil(row->buoyancy_g + row->expanded_u_g));
    }
    water->range = up_typeset(known ? up_text_format("%.*s to %.*s", (int)strcspn(low, " "), low,
                                                     (int)strcspn(high, " "), high)
                                    : up_text_format("not known"));
}

/* "Fresh water, 20.0 °C", or "Fresh, 20.0 °C". */
static char *title_of(const char *water, const char *temp, bool brief) {
    static const char *const known[][3] = {{"tank", "The tank's water", "Tank"},
                                           {"fresh", "Fresh water", "Fresh"},
                                           {"sea", "Sea water", "Sea"}};
    const char *what = water;
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        what = strcmp(water, known[i][0]) == 0 ? known[i][brief ? 2 : 1] : what;
    }
    return up_typeset(temp[0] != '\0' ? up_text_format("%s, %s", what, temp)
                                      : up_text_format("%s", what));
}

static void fill_water(struct up_card_water *water, const struct up_row *row,
                       const struct up_style *style) {
    char net[UP_SHOWN_SIZE], temp[UP_SHOWN_SIZE], depth[UP_SHOWN_SIZE], density[UP_SHOWN_SIZE];
    up_style_brief(style, row->at_most ? up_style_bound(style, row->at_most_g) : row->buoyancy_g,
                   net);
    bool at_most = row->at_most;
    up_style_temp(style, row->water_temp_c, temp);
    temp[0] = isfinite(row->water_temp_c) ? temp[0] : '\0';
    up_style_depth(style, row->foam_depth_m, depth);
    water->title = title_of(row->water, temp, false);
    water->title_brief = title_of(row->water, temp, true);
    water->row = row;
    water->place = place_of(row->class);
    water->class = up_text_format("%s", class_words[water->place][0]);
    water->meaning =
        up_text_format("%s", row->aside[0] != '\0' ? "put aside" : class_words[water->place][1]);
    water->net = up_typeset(
        up_text_format("%s%s%s", at_most ? "at most " : "", net, at_most ? "" : direction_of(net)));
    fill_interval(water, row, style);
    up_style_density(style, row->water_density_kg_m3, density);
    water->basis = up_typeset(row->foam_depth_m > 0 ? up_text_format("measured, at %s only", depth)
                              : row->measured       ? up_text_format("measured")
                              : isfinite(row->water_density_kg_m3)
                                  ? up_text_format("calculated, for %s", density)
                                  : up_text_format("calculated"));
    water->basis_brief = row->foam_depth_m > 0 ? water->basis
                         : row->measured       ? "measured"
                                               : "calculated";
}

/* ---- which waters ---- */

static const struct up_row *find_row(const struct up_row *row, size_t rows, const char *water) {
    for (size_t i = 0; i < rows; i++) {
        if (strcmp(row[i].water, water) == 0) {
            return &row[i];
        }
    }
    return NULL;
}

/* Fresh and sea, and the tank of what has neither; or those that were asked for alone. */
static int find_rows(const struct up_row *row, size_t rows, const char *const *waters,
                     const struct up_row *found[2]) {
    static const char *const usual[] = {"fresh", "sea"};
    bool asked = waters != NULL && waters[0] != NULL;
    int count = 0;
    for (int i = 0; i < 2; i++) {
        const char *water = asked ? waters[i] : usual[i];
        found[count] = water != NULL ? find_row(row, rows, water) : NULL;
        count += found[count] != NULL;
    }
    if (count == 0 && !asked) {
        found[0] = find_row(row, rows, "tank");
        count = found[0] != NULL;
    }
    return count;
}

/* ---- what else ---- */

static void add_once(char **marks, const char *mark) {
    if (strstr(*marks, mark) == NULL) {
        add(marks, "", mark, "; ");
    }
}

/* Once, though both waters have it; and in few words. */
static void add_mark(struct up_card *card, const char *mark, const char *brief) {
    add_once(&card->marks, mark);
    add_once(&card->brief, mark[0] != '\0' ? brief : "");
}

static void add_marks(struct up_card *card, const struct up_row *row,
                      const struct up_style *style) {
    char tolerance[UP_SHOWN_SIZE];
    up_style_lead(style, row->tolerance_g, tolerance);
    UP_FREED char *unusual = up_text_format("neutral within %s", tolerance);
    add_mark(card, row->unusual ? unusual : "", unusual);
    add_mark(card, row->quick ? UP_CLAIM_QUICK : "", "quick weighing");
    add_mark(card, row->aside[0] != '\0' ? UP_CLAIM_PUT_ASIDE : "", "put aside");
    add_mark(card, row->at_most ? UP_CLAIM_AT_MOST : "", "not shaken, may sink more");
    add_mark(card, row->quick_beside ? UP_CLAIM_FULL_COUNTS : "", "a later quick one beside it");
    add_mark(card, row->filling, row->filling);
    add_mark(card, up_checked_meaning(row->checked),
             row->checked == UP_CHECKED_OUTSIDE ? "reference body off" : "unchecked");
    add_mark(card, up_style_has_stuck(row->stuck_air_g) ? UP_CLAIM_STUCK : "", "");
    add_mark(card, row->rejudged ? "judged again since it was measured" : "", "judged again");
    add_mark(card, row->elsewhere ? UP_ELSEWHERE_MEANING : "", "from elsewhere");
}

static char *description_of(const struct up_item *item) {
    char *text = empty();
    add(&text, "", item->kind, ", ");
    add(&text, "size ", item->size, ", ");
    add(&text, "", item->maker, ", ");
    add(&text, "", item->model, ", ");
    add(&text, "", item->side, ", ");
    add(&text, "stock number ", item->stock_number, ", ");
    return text;
}

/* Of both waters where they are not of one day and bench. */
static char *origin_of(const struct up_row *const *row, int waters) {
    char *text = empty();
    bool one = waters == 1 || (strncmp(row[0]->made_utc, row[1]->made_utc, 10) == 0 &&
                               strcmp(row[0]->bench, row[1]->bench) == 0);
    for (int i = 0; i < (one ? 1 : waters); i++) {
        UP_FREED char *of = one ? empty() : up_text_format("%s: ", row[i]->water);
        UP_FREED char *day = up_text_format("%.10s", row[i]->made_utc);
        add(&text, of, day, "; ");
        add(&text, "bench ", row[i]->bench, ", ");
    }
    return text;
}

const struct up_row *up_rows_of(const struct up_rows *rows, const char *item_id, size_t *count) {
    size_t from = 0, to;
    while (from < rows->count && strcmp(rows->row[from].item_id, item_id) != 0) {
        from++;
    }
    for (to = from; to < rows->count && strcmp(rows->row[to].item_id, item_id) == 0;) {
        to++;
    }
    *count = to - from;
    return rows->count > 0 ? rows->row + from : NULL;
}

void up_card_fill(struct up_card *card, const struct up_item *item, const struct up_row *row,
                  size_t rows, const char *const *waters, const struct up_style *style) {
    const struct up_row *found[2] = {NULL};
    *card =
        (struct up_card){.banner = empty(), .marks = empty(), .brief = empty(), .scope = empty()};
    card->waters = find_rows(row, rows, waters, found);
    for (int i = 0; i < card->waters; i++) {
        fill_water(&card->water[i], found[i], style);
        add_marks(card, found[i], style);
    }
    if (item->elsewhere && strstr(card->marks, UP_ELSEWHERE_MEANING) == NULL) {
        add_mark(card, "what is said of the item " UP_ELSEWHERE_MEANING, "item from elsewhere");
    }
    add_mark(card, item->retired ? "retired: kept, not used any more" : "", "retired");
    UP_FREED char *title =
        up_item_title(item->name, card->waters > 0 ? found[0]->pieces : item->pieces);
    card->name = empty();
    add(&card->name, "", title, "");
    card->description = description_of(item);
    card->origin = card->waters > 0 ? origin_of(found, card->waters) : empty();
    if (card->waters > 0) {
        char scope[UP_CLAIM_SIZE];
        up_claim_whose(found[0]->pieces, scope);
        add(&card->scope, "", scope, "");
        bool simulated = found[0]->simulated || (card->waters > 1 && found[1]->simulated);
        add(&card->banner, "", simulated ? "SIMULATED: no gear was weighed" : "", "");
    }
}

void up_card_release(struct up_card *card) {
    free(card->banner);
    free(card->name);
    free(card->description);
    free(card->marks);
    free(card->brief);
    free(card->scope);
    free(card->origin);
    for (int i = 0; i < card->waters; i++) {
        free(card->water[i].title);
        free(card->water[i].title_brief);
        free(card->water[i].class);
        free(card->water[i].meaning);
        free(card->water[i].net);
        free(card->water[i].interval);
        free(card->water[i].range);
        free(card->water[i].basis);
    }
}
