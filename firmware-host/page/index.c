/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The table that sorts and searches; without a script it is a table still. */
#include <math.h>
#include <string.h>

#include "page/internal.h"
#include "text/text.h"

/* What tells this number from one of the usual sea or fresh water, and from one of a usual item. */
static void put_particulars(const struct page *page, const struct up_row *row, FILE *stream) {
    bool sea = strcmp(row->water, "sea") == 0, fresh = strcmp(row->water, "fresh") == 0;
    double low_kg_m3 = sea ? 1020 : 995, high_kg_m3 = sea ? 1030 : 1001;
    char shown[UP_SHOWN_SIZE];
    if ((sea || fresh) &&
        (row->water_density_kg_m3 < low_kg_m3 || row->water_density_kg_m3 > high_kg_m3)) {
        up_style_density(&page->wish->style, row->water_density_kg_m3, shown);
        UP_FREED char *typeset = up_typeset(up_text_format("%s", shown));
        fprintf(stream, "<br>for %s", typeset);
    }
    if (row->foam_depth_m > 0) {
        up_style_depth(&page->wish->style, row->foam_depth_m, shown);
        fprintf(stream, "<br>at %s only", shown);
    }
    if (row->unusual) {
        up_style_lead(&page->wish->style, row->tolerance_g, shown);
        fprintf(stream, "<br>neutral within %s", shown);
    }
    if (row->filling[0] != '\0') {
        fputs("<br>", stream);
        page_put(stream, row->filling);
    }
}

/* A number and its unit stay on one line, be it a phone's; what breaks is what follows. */
static void put_net(FILE *stream, const char *net) {
    const char *unit = strstr(net, " g");
    unit = unit != NULL ? unit : strstr(net, " oz");
    UP_FREED char *number = up_text_format("%.*s", unit != NULL ? (int)(unit - net) : 0, net);
    page_put(stream, number);
    fputs(unit != NULL ? "\u00A0" : "", stream);
    page_put(stream, unit != NULL ? unit + 1 : net);
}

static void put_number_cell(const struct page *page, const struct up_card_water *water,
                            FILE *stream) {
    const struct up_row *row = water->row;
    fputs("<td>", stream);
    page_put_symbol(stream, water->place);
    put_net(stream, water->net);
    fputs("<br>", stream);
    bool undecided = water->place == UP_CARD_UNDECIDED && row->aside[0] == '\0';
    page_put(stream, undecided ? "undecided" : water->meaning);
    fprintf(stream, " %s", water->range);
    page_put(stream, up_checked_mark(row->checked));
    page_put(stream, row->quick ? " quick" : "");
    page_put(stream, row->rejudged ? "*" : "");
    page_put(stream, row->elsewhere ? UP_ELSEWHERE_MARK : "");
    put_particulars(page, row, stream);
}

static const struct up_card_water *water_of(const struct up_card *card, const char *name) {
    for (int i = 0; i < card->waters; i++) {
        if (strcmp(card->water[i].row->water, name) == 0) {
            return &card->water[i];
        }
    }
    return NULL;
}

/* A cell is a block: the direction of its text touches nothing beside it. */
static void put_cell(FILE *stream, const char *text) {
    fputs("<td>", stream);
    page_put(stream, text);
}

/* From the index, or from where `up` leads to it. */
static void put_links(const struct page *page, const struct up_item *item,
                      const struct up_card *card, const char *up, FILE *stream) {
    const char *name = page_name_of(page, item->id), *model = page_model_of(page, item);
    if (page->wish->single) {
        fprintf(stream, "<tr><td><a href=#%s>", name);
    } else {
        fprintf(stream, "<tr><td><a href=%si/%s.html>", up, name);
    }
    page_put(stream, card->name);
    fprintf(stream, "</a>%s", card->banner[0] != '\0' ? " (simulated)" : "");
    page_put(stream, item->elsewhere ? " " UP_ELSEWHERE_MARK : "");
    put_cell(stream, item->kind);
    put_cell(stream, item->size);
    put_cell(stream, item->maker);
    if (model[0] == '\0' || page->wish->single) {
        put_cell(stream, item->model);
    } else {
        fprintf(stream, "<td><a href=%sm/%s.html>", up, model);
        page_put(stream, item->model);
        fputs("</a>", stream);
    }
}

static void put_row(const struct page *page, const struct up_item *item, const char *up,
                    bool with_tank, FILE *stream) {
    static const char *const waters[] = {"fresh", "sea", "tank"};
    struct up_card card;
    size_t count;
    const struct up_row *row = page_rows_of(page, item->id, &count);
    up_card_fill(&card, item, row, count, NULL, &page->wish->style);
    put_links(page, item, &card, up, stream);
    for (int i = 0; i < (with_tank ? 3 : 2); i++) {
        const struct up_card_water *water = water_of(&card, waters[i]);
        if (water != NULL) {
            put_number_cell(page, water, stream);
        } else {
            fputs("<td>", stream);
        }
    }
    fprintf(stream, "<td>%.10s\n", count > 0 ? row->made_utc : "");
    up_card_release(&card);
}

/* Some items have no calculated water. */
static bool any_tank_alone(const struct page *page, const struct up_item *const *item,
                           size_t count) {
    bool any = false;
    for (size_t i = 0; i < count && !any; i++) {
        struct up_card card;
        size_t rows;
        const struct up_row *row = page_rows_of(page, item[i]->id, &rows);
        up_card_fill(&card, item[i], row, rows, NULL, &page->wish->style);
        any = water_of(&card, "tank") != NULL;
        up_card_release(&card);
    }
    return any;
}

void page_put_table(const struct page *page, const struct up_item *const *item, size_t count,
                    const char *up, FILE *stream) {
    bool with_tank = any_tank_alone(page, item, count);
    fprintf(stream,
            "<p class=\"soft\">Net buoyancy: + is UP, − is DOWN; below it the ends of a 95 %% "
            "interval. Fresh and "
            "sea are calculated from the weighing in the tank%s. ? unchecked: no reference body "
            "shows that the bench was right; ! the last reference body before it read outside its "
            "limits; * judged again since it was measured; &lt; came from elsewhere.</p>\n"
            "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Items\">\n"
            "<table id=\"items\">\n<thead><tr><th scope=\"col\">Item<th scope=\"col\">Kind<th "
            "scope=\"col\">Size<th scope=\"col\" "
            ">Maker<th scope=\"col\">Model<th scope=\"col\">Fresh water"
            "<th scope=\"col\">Sea water%s<th scope=\"col\">Date</tr></thead>\n"
            "<tbody>\n",
            with_tank ? ", which stands alone where they are not known" : "",
            with_tank ? "<th scope=\"col\">Tank alone" : "");
    for (size_t i = 0; i < count; i++) {
        put_row(page, item[i], up, with_tank, stream);
    }
    fputs("</tbody>\n</table>\n</div>\n", stream);
}
