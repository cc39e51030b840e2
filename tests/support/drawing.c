/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drawing.h"

#include <stdlib.h>
#include <string.h>

#include "text/text.h"

void drawing_decode(char *svg) {
    static const struct {
        const char *entity;
        char character;
    } known[] = {{"&amp;", '&'}, {"&lt;", '<'}, {"&gt;", '>'}, {"&quot;", '"'}, {"&apos;", '\''}};
    const size_t count = sizeof known / sizeof known[0];
    char *out = svg;
    while (*svg != '\0') {
        size_t i = 0;
        while (i < count && strncmp(svg, known[i].entity, strlen(known[i].entity)) != 0) {
            i++;
        }
        *out++ = i < count ? known[i].character : *svg;
        svg += i < count ? strlen(known[i].entity) : 1;
    }
    *out = '\0';
}

bool drawing_has_text(const char *drawing, const char *text) {
    char *plain = up_text_format("<text>%s</text>", text);
    char *spaced = up_text_format("<text xml:space=\"preserve\">%s</text>", text);
    bool drawn = strstr(drawing, plain) != NULL || strstr(drawing, spaced) != NULL;
    free(plain);
    free(spaced);
    return drawn;
}
