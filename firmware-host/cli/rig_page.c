/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The page about rigs, written for wide lines, as a terminal can show it. */
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "embedded.h"
#include "text/text.h"

struct page {
    FILE *stream;
    int columns;
    char *block; /* lines that belong together; NULL: none */
    const char *lead;
    bool code;
};

static void flush_block(struct page *page) {
    if (page->block != NULL) {
        up_text_lines(page->stream, page->lead, page->block, page->columns);
        free(page->block);
        page->block = NULL;
    }
}

static void add_to_block(struct page *page, const char *text) {
    char *longer = page->block != NULL ? up_text_format("%s %s", page->block, text)
                                       : up_text_format("%s", text);
    free(page->block);
    page->block = longer;
}

static char *joined(char *text, const char *between, const char *cell) {
    char *longer = up_text_format("%s%s%s", text, text[0] != '\0' ? between : "", cell);
    free(text);
    return longer;
}

/* A row as a name, which is in code, and what is said of it; what is empty is left out, and the
   line below the head says nothing. */
static void print_row(struct page *page, char *row) {
    char *name = up_text_format("%s", ""), *text = up_text_format("%s", ""), *rest = row;
    int column = 0;
    for (char *cell = strsep(&rest, "|"); cell != NULL; cell = strsep(&rest, "|"), column++) {
        cell += strspn(cell, " ");
        for (size_t end = strlen(cell); end > 0 && cell[end - 1] == ' '; end--) {
            cell[end - 1] = '\0';
        }
        if (cell[0] == '`' && column <= 2) { /* the section and the key */
            name = joined(name, " ", cell);
        } else if (cell[0] != '\0') {
            text = joined(text, " | ", cell);
        }
    }
    if (name[0] != '\0') {
        up_text_lines(page->stream, "  ", name, page->columns);
    }
    if (text[strspn(text, "-: |")] != '\0') {
        up_text_lines(page->stream, "      ", text, page->columns);
    }
    free(name);
    free(text);
}

static void take_line(struct page *page, char *line) {
    bool fence = strncmp(line, "```", 3) == 0;
    size_t blanks = strspn(line, " ");
    bool bullet = strncmp(line, "- ", 2) == 0;
    if (fence || page->code || line[0] == '#' || line[0] == '|' || line[blanks] == '\0' || bullet) {
        flush_block(page);
    }
    page->code = page->code != fence;
    if (page->code || fence || line[0] == '#') {
        fprintf(page->stream, "%s\n", fence ? "" : line);
    } else if (line[0] == '|') {
        print_row(page, line);
    } else if (line[blanks] == '\0') {
        fputc('\n', page->stream);
    } else {
        page->lead = page->block != NULL ? page->lead : bullet ? "- " : "";
        add_to_block(page, line + (bullet ? 2 : blanks));
    }
}

void print_rig_page(FILE *stream) {
    struct page page = {.stream = stream, .columns = terminal_columns(fileno(stream))};
    if (page.columns == 0) {
        fputs(embedded_README_md, stream);
        return;
    }
    UP_FREED char *copy = up_text_format("%s", embedded_README_md);
    char *rest = copy;
    for (char *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n")) {
        take_line(&page, line);
    }
    flush_block(&page);
}
