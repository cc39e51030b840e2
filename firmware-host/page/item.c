/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a reader is shown of one item. */
#include <string.h>

#include "page/internal.h"
#include "text/text.h"

static void put_heading(FILE *stream, int level, const char *text) {
    fprintf(stream, "<h%d>", level);
    page_put_name(stream, text);
    fprintf(stream, "</h%d>\n", level);
}

static void put_water(const struct up_card_water *water, int level, FILE *stream) {
    fputs("<section>\n", stream);
    put_heading(stream, level, water->title);
    page_put_symbol(stream, water->place);
    fputs("\n<p class=\"word\">", stream);
    page_put(stream, water->class);
    fputs(": ", stream);
    page_put(stream, water->meaning);
    fputs("</p>\n<p class=\"big\">", stream);
    page_put(stream, water->net);
    fputs("</p>\n<p>", stream);
    page_put(stream, water->interval);
    fputs(", ", stream);
    page_put(stream, water->basis);
    fputs("</p>\n</section>\n", stream);
}

static void put_evidence(const struct page *page, const struct up_row *row, size_t rows, int level,
                         FILE *stream) {
    for (size_t i = 0; i < rows; i++) {
        const char *html = json_string_value(json_object_get(page->evidence, row[i].result_id));
        put_heading(stream, level, row[i].water);
        fputs(html != NULL ? html : "", stream);
    }
}

static void put_paragraph(FILE *stream, const char *class, const char *text) {
    if (text[0] != '\0') {
        fprintf(stream, "<p%s%s%s>", class[0] != '\0' ? " class=\"" : "", class,
                class[0] != '\0' ? "\"" : "");
        page_put(stream, text);
        fputs("</p>\n", stream);
    }
}

/* A water of one's own, behind those that every item has. */
static void put_other_waters(const struct page *page, const struct up_item *item,
                             const struct up_row *row, size_t rows, int level, FILE *stream) {
    for (size_t i = 0; i < rows; i++) {
        const char *waters[2] = {row[i].water, NULL};
        struct up_card card;
        if (strcmp(row[i].water, "fresh") == 0 || strcmp(row[i].water, "sea") == 0 ||
            strcmp(row[i].water, "tank") == 0) {
            continue;
        }
        up_card_fill(&card, item, row, rows, waters, &page->wish->style);
        put_water(&card.water[0], level, stream);
        up_card_release(&card);
    }
}

void page_put_item(const struct page *page, const struct up_item *item, FILE *stream) {
    struct up_card card;
    size_t count;
    const struct up_row *row = page_rows_of(page, item->id, &count);
    int level = page->wish->single ? 2 : 1;
    up_card_fill(&card, item, row, count, NULL, &page->wish->style);
    put_paragraph(stream, "banner", card.banner);
    put_heading(stream, level, card.name);
    put_paragraph(stream, "", card.description);
    fputs("<div class=\"waters\">\n", stream);
    for (int i = 0; i < card.waters; i++) {
        put_water(&card.water[i], level + 1, stream);
    }
    put_other_waters(page, item, row, count, level + 1, stream);
    fputs("</div>\n", stream);
    put_paragraph(stream, "", card.waters == 0 ? "Not measured yet." : card.scope);
    put_paragraph(stream, "", card.marks);
    put_paragraph(stream, "check", UP_CLAIM_CHECK);
    put_paragraph(stream, "soft", UP_CAUTION_USE);
    put_paragraph(stream, "soft", card.origin);
    if (count > 0) {
        put_heading(stream, level + 1, "How it came about");
        put_evidence(page, row, count, level + 2, stream);
    }
    up_card_release(&card);
}
