/* SPDX-License-Identifier: GPL-3.0-or-later */
/* page: the catalogue for browsers. */
#include <unistd.h>

#include "cli.h"
#include "page/page.h"
#include "text/text.h"

const struct option_text options_page[] = {
    {"to", "DIR", "where to write index.html and what it leads to"},
    {"single", NULL, "all in one index.html, to be sent by mail"},
    {"pictures", NULL, "on the page of each model, its sizes as gnuplot draws them"},
    {"data", NULL, "beside them all that the catalogue exports, notes and rig files too"},
    {"kind", "TEXT", "items of this kind"},
    {"maker", "TEXT", "items of this maker"},
    {"model", "TEXT", "items of this model"},
    {"size", "TEXT", "items of this size"},
    {"water", "NAME", "items that have a result in this water (repeatable)"},
    {"class", "positive|neutral|negative|undecided", "items that have a result of this class"},
    {"bench", "ID", "items that were measured on the bench of this rig id"},
    {"sort", "name|kind|maker|model|size|up|newest", "in which order"},
    {"retired", NULL, "retired items too"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_END};

/* For who goes on working with it: CSV, JSON, and the picture's script with its data. */
static bool write_data(struct call *call, struct up_rows *rows, const struct up_style *style,
                       const char *to) {
    UP_FREED char *data = up_text_format("%s/data", to);
    const struct up_plots plots = {data, *style};
    unsigned pages;
    up_rows_drop_retired(rows);
    return up_export_csv(call->catalogue, data, call->failure) &&
           up_export_json(call->catalogue, data, call->failure) &&
           (rows->count == 0 || up_plot_write(rows, NULL, &plots, &pages, call->failure));
}

bool command_page(struct call *call) {
    const char *to = option_value(call, "to"), *waters[OPTIONS_GIVEN_MAX];
    struct up_page_wish wish = {.watch = progress_show,
                                .single = option_given(call, "single"),
                                .data = option_given(call, "data"),
                                .pictures = option_given(call, "pictures")};
    struct up_rows rows = {0};
    struct up_items items = {0};
    struct up_pages_written written = {0};
    struct up_choice choice;
    if (to == NULL) {
        return refuse(call, "page: give --to DIR, a folder for the pages");
    }
    if (wish.single && wish.pictures) {
        return refuse(call, "page: a single file has no page of a model: leave out --pictures");
    }
    bool good =
        style_asked(call, &wish.style) && choice_asked(call, 0, waters, &choice) &&
        open_catalogue(call, UP_CATALOGUE_READ) &&
        up_rows_load(call->catalogue, &rows, call->failure) &&
        up_items_load(call->catalogue, &rows, &choice, &items, call->failure) &&
        up_pages_write(call->catalogue, &rows, &items, &wish, to, &written, call->failure) &&
        (!wish.data || write_data(call, &rows, &wish.style, to));
    UP_FREED char *data = up_text_format("%s/data", to);
    if (good && !wish.data && access(data, F_OK) == 0) {
        up_text_print(stderr,
                      "note: %s is of an earlier --data, with notes and rig files: remove it "
                      "if they are private\n",
                      data);
    }
    if (good) {
        up_text_print(stdout, "%s/index.html: %u item%s, %u page%s of models; %u file%s changed\n",
                      to, written.items, written.items == 1 ? "" : "s", written.models,
                      written.models == 1 ? "" : "s", written.changed,
                      written.changed == 1 ? "" : "s");
    }
    up_items_release(&items);
    up_rows_release(&rows);
    return good;
}
