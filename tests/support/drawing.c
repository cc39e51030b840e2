/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drawing.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/report.h"
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

/* ---- where words stand ---- */

enum { WORDS_MAX = 2000, SHOWN = 60, CORNERS = 4 };

struct word {
    double x[CORNERS], y[CORNERS];
    char text[SHOWN];
};

/* A little less than the letters' own box, so that what only touches is no overlap. */
static const double WIDTH = 0.5, RISE = 0.62, FALL = 0.02;

static void set_corners(struct word *word, double x, double y, double turn, double left,
                        double right, double size) {
    const double along[] = {left, right, right, left},
                 up[] = {-FALL * size, -FALL * size, RISE * size, RISE * size};
    for (int i = 0; i < CORNERS; i++) {
        word->x[i] = x + along[i] * cos(turn) + up[i] * sin(turn);
        word->y[i] = y + along[i] * sin(turn) - up[i] * cos(turn);
    }
}

/* What stands in the group without its marks; entities are one letter. */
static void take_text(const char *from, const char *end, char *text) {
    size_t length = 0;
    bool inside = false;
    for (const char *at = from; at < end && length + 5 < SHOWN * 8; at++) {
        if (*at == '<') {
            inside = true;
        } else if (*at == '>') {
            inside = false;
        } else if (!inside && *at == '&') {
            text[length++] = 'n';
            at += strcspn(at, ";");
        } else if (!inside && *at != '\n' && *at != '\t') {
            text[length++] = *at;
        }
    }
    text[length] = '\0';
}

static bool take_word(const char *group, struct word *word) {
    double x = 0, y = 0, turn = 0, size = 0;
    const char *head = strstr(group, ">"), *end = strstr(group, "</g>");
    char text[SHOWN * 8];
    if (head == NULL || end == NULL ||
        sscanf(group, "<g transform=\"translate(%lf,%lf)", &x, &y) != 2) {
        return false;
    }
    const char *turned = strstr(group, "rotate("), *font = strstr(group, "font-size=\"");
    if (turned != NULL && turned < head) {
        turn = strtod(turned + strlen("rotate("), NULL) * acos(-1) / 180;
    }
    if (font == NULL || font > head) {
        return false;
    }
    size = strtod(font + strlen("font-size=\""), NULL);
    take_text(head + 1, end, text);
    double width = WIDTH * size * up_text_columns(text);
    bool middle = strstr(group, "text-anchor=\"middle\"") != NULL &&
                  strstr(group, "text-anchor=\"middle\"") < head;
    bool right =
        strstr(group, "text-anchor=\"end\"") != NULL && strstr(group, "text-anchor=\"end\"") < head;
    double left = middle ? -width / 2 : right ? -width : 0;
    set_corners(word, x, y, turn, left, left + width, size);
    snprintf(word->text, sizeof word->text, "%.*s", SHOWN - 1, text);
    return text[strspn(text, " ")] != '\0';
}

/* Whether some side of one of them has all of the other beyond it. */
static bool are_apart(const struct word *a, const struct word *b) {
    for (int i = 0; i < CORNERS; i++) {
        int next = (i + 1) % CORNERS;
        double dx = a->y[next] - a->y[i], dy = a->x[i] - a->x[next], most_a = -1e9, least_b = 1e9,
               least_a = 1e9, most_b = -1e9;
        for (int j = 0; j < CORNERS; j++) {
            double of_a = a->x[j] * dx + a->y[j] * dy, of_b = b->x[j] * dx + b->y[j] * dy;
            most_a = fmax(most_a, of_a);
            least_a = fmin(least_a, of_a);
            most_b = fmax(most_b, of_b);
            least_b = fmin(least_b, of_b);
        }
        if (least_b >= most_a || most_b <= least_a) {
            return true;
        }
    }
    return false;
}

bool drawing_is_laid_out(const char *svg, char *why, size_t size) {
    struct word *word = calloc(WORDS_MAX, sizeof *word);
    size_t count = 0;
    double width = 0, height = 0;
    const char *box = strstr(svg, "viewBox=\"0 0 ");
    bool good = box != NULL && sscanf(box, "viewBox=\"0 0 %lf %lf", &width, &height) == 2;
    for (const char *at = svg; (at = strstr(at, "<g transform=\"translate(")) != NULL; at++) {
        count += count < WORDS_MAX && take_word(at, &word[count]);
    }
    snprintf(why, size, "no words");
    good = good && count > 0;
    for (size_t i = 0; good && i < count; i++) {
        for (int j = 0; good && j < CORNERS; j++) {
            good = word[i].x[j] >= 0 && word[i].x[j] <= width && word[i].y[j] >= 0 &&
                   word[i].y[j] <= height;
            snprintf(why, size, "\"%s\" is not inside", word[i].text);
        }
        for (size_t j = 0; good && j < i; j++) {
            good = are_apart(&word[i], &word[j]) || are_apart(&word[j], &word[i]);
            snprintf(why, size, "\"%s\" is on \"%s\"", word[i].text, word[j].text);
        }
    }
    free(word);
    return good;
}

bool drawing_looks_right(const char *name, char *why, size_t size) {
    static const struct up_look looks[] = {{false, true}, {true, false}, {false, false}};
    struct up_failure failure = {.text = ""};
    char *path = up_text_format("%s.svg", name);
    bool good = true;
    for (size_t i = 0; good && i < sizeof looks / sizeof looks[0]; i++) {
        size_t length;
        good = up_plot_draw(".", name, &looks[i], &failure);
        snprintf(why, size, "%s", failure.text);
        char *svg = good ? up_text_read_file(path, UP_LINKS_REFUSED, 1 << 22, &length, NULL) : NULL;
        good = svg != NULL && drawing_is_laid_out(svg, why, size);
        free(svg);
    }
    free(path);
    return good;
}

unsigned drawing_lines(const char *svg, const char *colour, double least) {
    unsigned count = 0;
    char *stroke = up_text_format("stroke='rgb(%s)'", colour);
    for (const char *at = svg; (at = strstr(at, stroke)) != NULL; at++) {
        const char *end = strstr(at, "/>");
        double x, y, to_x, to_y;
        for (const char *move = at; (move = strchr(move, 'M')) != NULL && move < end; move++) {
            if (sscanf(move, "M%lf,%lf L%lf,%lf", &x, &y, &to_x, &to_y) == 4) {
                count += hypot(to_x - x, to_y - y) >= least;
            }
        }
    }
    free(stroke);
    return count;
}
