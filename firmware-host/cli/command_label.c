/* SPDX-License-Identifier: GPL-3.0-or-later */
/* label: cards for the shelf and tags for the hook. */
#include <ctype.h>
#include <string.h>
#include <sys/stat.h>

#include "cli.h"
#include "label/label.h"
#include "text/text.h"

#define SIZE_USUAL "74x105mm"

const struct option_text options_label[] = {
    {"item", "NAME_OR_ID", "this one; else all that fit the options below"},
    {"to", "FILE", "FILE.pdf, or for one label FILE.svg"},
    {"size", "WxHmm", "of one label, 25x15mm to 210x297mm (default: " SIZE_USUAL ")"},
    {"sheet", NULL, "as many as fit on pages of A4, with lines to cut along"},
    {"link-base", "URL", "stands before the item's id in the QR code (default: the id alone)"},
    {"kind", "TEXT", "items of this kind"},
    {"maker", "TEXT", "items of this maker"},
    {"model", "TEXT", "items of this model"},
    {"water", "NAME", "in this water, or these two, instead of fresh and sea (repeatable)"},
    {"class", "positive|neutral|negative|undecided", "items that have a result of this class"},
    {"bench", "ID", "items that were measured on the bench of this rig id"},
    {"sort", "name|kind|maker|model|size|up|newest", "in which order"},
    {"retired", NULL, "retired items too"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_END};

/* ---- what is asked ---- */

/* What a scanner hands on must be an address and nothing else. */
static bool link_asked(struct call *call, struct up_label_wish *wish) {
    static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
                                  "-._~:/?#[]@!$&()*+,;=%";
    enum { MOST = 200 };
    const char *link = option_value(call, "link-base");
    wish->link_base = link != NULL ? link : "";
    return (strspn(wish->link_base, allowed) == strlen(wish->link_base) &&
            strlen(wish->link_base) <= MOST) ||
           refuse(call,
                  "--link-base: give the beginning of a web address, of at most %d "
                  "characters, without spaces",
                  MOST);
}

static bool waters_of_label(struct call *call, struct up_label_wish *wish) {
    int count = 0;
    for (int i = 0; i < call->options; i++) {
        if (strcmp(call->option[i].name, "water") == 0) {
            if (count == 2) {
                return refuse(call, "label: a label has room for two waters: give --water twice "
                                    "at most");
            }
            wish->water[count++] = call->option[i].value;
        }
    }
    return true;
}

static bool wish_asked(struct call *call, struct up_label_wish *wish) {
    const char *size = option_value(call, "size");
    *wish =
        (struct up_label_wish){.on_sheets = option_given(call, "sheet"), .watch = progress_show};
    if (!waters_of_label(call, wish)) {
        return false;
    }
    return style_asked(call, &wish->style) && link_asked(call, wish) &&
           (up_label_size(size != NULL ? size : SIZE_USUAL, wish) ||
            refuse(call,
                   "--size %.40s: give width and height of one label, 25x15mm to 210x297mm, "
                   "as 74x105mm",
                   size));
}

static bool items_asked(struct call *call, const struct up_rows *rows, struct up_items *items) {
    const char *waters[OPTIONS_GIVEN_MAX];
    const char *name = option_value(call, "item");
    struct up_choice choice;
    if (name == NULL) {
        bool good = choice_asked(call, 0, waters, &choice);
        choice.size = NULL; /* here it is the label's */
        return good && up_items_load(call->catalogue, rows, &choice, items, call->failure);
    }
    if (call->words > 0) {
        return refuse(call, "label: give --item or words to look for, not both");
    }
    *items = (struct up_items){.item = up_allocate(1, sizeof *items->item), .count = 1};
    return up_item_find(call->catalogue, name, items->item, call->failure);
}

/* ---- what became of it ---- */

static void print_drawn(const struct up_labels_drawn *drawn, const char *file) {
    static const char *const parts[] = {[UP_LABEL_CODE] = "the QR code",
                                        [UP_LABEL_ORIGIN] = "date and bench",
                                        [UP_LABEL_DESCRIPTION] = "kind, size, maker and model",
                                        [UP_LABEL_PICTURE] = "the pictures"};
    up_text_print(stdout, "%s: %u label%s on %u page%s\n", file, drawn->labels,
                  drawn->labels == 1 ? "" : "s", drawn->pages, drawn->pages == 1 ? "" : "s");
    for (int part = 0; part < UP_LABEL_PARTS; part++) {
        if (drawn->left_out[part] > 0) {
            up_text_print(stderr, "note: no room for %s on %u label%s\n", parts[part],
                          drawn->left_out[part], drawn->left_out[part] == 1 ? "" : "s");
        }
    }
    if (drawn->without_glyph > 0) {
        up_text_print(
            stderr,
            "note: no font of this machine has every character of %u label%s: install one "
            "that has, for example Debian's fonts-noto-core\n",
            drawn->without_glyph, drawn->without_glyph == 1 ? "" : "s");
    }
    if (drawn->not_measured > 0) {
        up_text_print(stderr, "note: %u item%s without a result left out\n", drawn->not_measured,
                      drawn->not_measured == 1 ? "" : "s");
    }
}

/* ---- one after each measurement ---- */

/* Letters, digits and hyphens of the name, and the beginning of its id. */
static char *file_of(const char *directory, const struct up_item *item) {
    enum { NAME_MOST = 40 };
    char name[NAME_MOST + 1];
    size_t length = 0;
    for (const char *at = item->name; *at != '\0' && length < NAME_MOST; at++) {
        bool plain = isascii((unsigned char)*at) && isalnum((unsigned char)*at);
        if (plain || (length > 0 && name[length - 1] != '-')) {
            name[length++] = plain ? *at : '-';
        }
    }
    name[length] = '\0';
    return up_text_format("%s/%s%s%.8s.pdf", directory, name,
                          length > 0 && name[length - 1] != '-' ? "-" : "", item->id);
}

/* The result is stored by then: what fails is only told. */
void draw_label(const struct call *call, struct up_catalogue *catalogue, const struct up_item *item,
                const struct up_style *style) {
    const char *directory = option_value(call, "label");
    struct up_label_wish wish = {.link_base = "", .style = *style};
    struct up_rows rows = {0};
    struct up_item copy = *item;
    struct up_items one = {.item = &copy, .count = 1};
    struct up_labels_drawn drawn;
    struct up_failure failure;
    if (directory == NULL) {
        return;
    }
    UP_FREED char *file = file_of(directory, item);
    mkdir(directory, 0777); /* or it is there, or writing says why not */
    bool good = up_label_size(SIZE_USUAL, &wish) && up_rows_load(catalogue, &rows, &failure) &&
                up_labels_draw(&rows, &one, &wish, file, &drawn, &failure);
    if (good) {
        up_text_print(stderr, "note: its label is %s\n", file);
    } else {
        up_text_print(stderr, "note: stored, but no label was drawn: %s\n", failure.text);
    }
    up_rows_release(&rows);
}

bool command_label(struct call *call) {
    const char *file = option_value(call, "to");
    struct up_label_wish wish;
    struct up_rows rows = {0};
    struct up_items items = {0};
    struct up_labels_drawn drawn;
    if (file == NULL) {
        return refuse(call, "label: give --to FILE.pdf, or FILE.svg for one label");
    }
    bool good = wish_asked(call, &wish) && open_catalogue(call, UP_CATALOGUE_READ) &&
                up_rows_load(call->catalogue, &rows, call->failure) &&
                items_asked(call, &rows, &items) &&
                up_labels_draw(&rows, &items, &wish, file, &drawn, call->failure);
    if (good) {
        print_drawn(&drawn, file);
    }
    up_items_release(&items);
    up_rows_release(&rows);
    return good;
}
