/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "glyphs.h"

#include <pango/pangocairo.h>
#include <stdlib.h>
#include <string.h>

#include "text/memory.h"

/* As gnuplot sets its words. */
static PangoLayout *begin_layout(void) {
    PangoContext *context = pango_font_map_create_context(pango_cairo_font_map_get_default());
    PangoLayout *layout = pango_layout_new(context);
    PangoFontDescription *font = pango_font_description_from_string("sans");
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    g_object_unref(context);
    return layout;
}

static bool has_all(PangoLayout *layout, const char *text, size_t length) {
    pango_layout_set_text(layout, text, (int)length);
    return pango_layout_get_unknown_glyphs_count(layout) == 0;
}

bool glyphs_of_any_font(const char *file, struct up_failure *failure) {
    PangoLayout *layout = begin_layout();
    bool any = has_all(layout, "0", 1);
    g_object_unref(layout);
    return any || up_fail(failure, UP_STATUS_UNABLE,
                          "cannot draw %s: this machine has no font; install one (Debian: "
                          "fonts-dejavu-core); the results are kept",
                          file);
}

static char *replaced(PangoLayout *layout, const char *text) {
    static const char sign[] = "\uFFFD";
    const char *instead = has_all(layout, sign, strlen(sign)) ? sign : "?";
    char *whole = up_allocate(strlen(text) + 1, 3), *to = whole; /* a byte becomes three at most */
    for (const char *at = text; *at != '\0';) {
        size_t length = 1;
        while (((unsigned char)at[length] & 0xC0) == 0x80) {
            length++;
        }
        bool known = length == 1 || has_all(layout, at, length);
        memcpy(to, known ? at : instead, known ? length : strlen(instead));
        to += known ? length : strlen(instead);
        at += length;
    }
    *to = '\0';
    return whole;
}

char *glyphs_replace_missing(const char *text) {
    PangoLayout *layout = begin_layout();
    char *whole = has_all(layout, text, strlen(text)) ? NULL : replaced(layout, text);
    g_object_unref(layout);
    return whole;
}
