/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What gnuplot draws of a model, within its page: nothing is fetched. */
#include <errno.h>
#include <nettle/base64.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "page/internal.h"
#include "text/text.h"

enum { PICTURE_BYTES_MAX = 1 << 22 };

/* The picture's bytes as a data address has them; the caller's. */
static char *encoded(const char *path, struct up_failure *failure) {
    size_t length;
    UP_FREED char *bytes =
        up_text_read_file(path, UP_LINKS_REFUSED, PICTURE_BYTES_MAX, &length, failure);
    char *text = NULL;
    if (bytes != NULL) {
        text = up_allocate(BASE64_ENCODE_RAW_LENGTH(length) + 1, 1);
        base64_encode_raw(text, length, (const uint8_t *)bytes);
    }
    return text;
}

static void remove_files(const char *directory, const char *name) {
    static const char *const endings[] = {"gp", "tsv", "svg", "png"};
    for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
        UP_FREED char *path = up_text_format("%s/%s.%s", directory, name, endings[i]);
        unlink(path);
    }
}

/* Nothing where no piece of the model has a size and a result. */
static bool draw(const struct page *page, const char *key, const json_t *places,
                 const char *directory, json_t *pictures, struct up_failure *failure) {
    static const struct up_view view = {{"fresh", "sea"}, "models", true};
    UP_FREED struct up_item *item = up_allocate(json_array_size(places), sizeof *item);
    const struct up_items of = {.item = item, .count = json_array_size(places)};
    const struct up_plots plots = {directory, page->wish->style};
    const json_t *place;
    size_t i;
    bool drawn = false;
    json_array_foreach(places, i, place) {
        item[i] = page->items->item[json_integer_value(place)];
    }
    UP_FREED char *name = up_text_format("sizes-%.8s", item[0].id);
    UP_FREED char *path = up_text_format("%s/%s.svg", directory, name);
    bool good = up_plot_write_sizes(page->rows, &of, &view, &plots, &drawn, failure) &&
                (!drawn || up_plot_draw(directory, name, NULL, failure));
    UP_FREED char *text = good && drawn ? encoded(path, failure) : NULL;
    if (text != NULL) {
        json_object_set_new_nocheck(pictures, key, json_string_nocheck(text));
    }
    remove_files(directory, name);
    return good && (!drawn || text != NULL);
}

json_t *page_pictures(const struct page *page, struct up_failure *failure) {
    const char *place = getenv("TMPDIR"), *key;
    UP_FREED char *directory =
        up_text_format("%s/upthrust-XXXXXX", place != NULL && place[0] == '/' ? place : "/tmp");
    json_t *pictures = json_object(), *places;
    unsigned long drawn = 0;
    bool good = mkdtemp(directory) != NULL ||
                up_fail(failure, UP_STATUS_UNABLE, "cannot make the folder %s to draw in: %s",
                        directory, strerror(errno));
    bool made = good;
    json_object_foreach(page->model, key, places) {
        if (good && page->wish->watch != NULL) {
            page->wish->watch("models drawn", ++drawn);
        }
        good = good && draw(page, key, places, directory, pictures, failure);
    }
    if (page->wish->watch != NULL) {
        page->wish->watch("models drawn", 0);
    }
    if (made) {
        rmdir(directory);
    }
    if (!good) {
        json_decref(pictures);
    }
    return good ? pictures : NULL;
}
