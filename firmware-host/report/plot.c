/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "embedded.h"
#include "upthrust/report.h"
#include "upthrust/text.h"

enum { LABEL_CHARACTERS = 40 };

static bool begins_item(const struct up_rows *rows, size_t i) {
    return i == 0 || strcmp(rows->row[i].item_id, rows->row[i - 1].item_id) != 0;
}

static size_t count_items(const struct up_rows *rows) {
    size_t items = 0;
    for (size_t i = 0; i < rows->count; i++) {
        items += begins_item(rows, i);
    }
    return items;
}

/* ---- data: numbers and words of ours only; the names stand in the script, escaped ---- */

static bool has_water(const struct up_rows *rows, const char *item_id, const char *water) {
    for (size_t i = 0; i < rows->count; i++) {
        if (strcmp(rows->row[i].item_id, item_id) == 0 && strcmp(rows->row[i].water, water) == 0) {
            return true;
        }
    }
    return false;
}

/* Which of the template's series a row belongs to; 0 for none. */
static int series_of(const struct up_rows *rows, const struct up_row *row) {
    if (strcmp(row->water, "fresh") == 0) {
        return 1;
    }
    if (strcmp(row->water, "sea") == 0) {
        return 2;
    }
    bool stands_alone = !has_water(rows, row->item_id, "fresh");
    return strcmp(row->water, "tank") == 0 && stands_alone ? 3 : 0;
}

static bool write_data(FILE *stream, void *context) {
    const struct up_rows *rows = context;
    size_t item = 0;
    fputs("# series: 1 fresh, 2 sea, 3 tank (items without a calculated water)\n"
          "# item\tseries\tbuoyancy_g\texpanded_u_g\ttolerance_g\tdecided\n",
          stream);
    for (size_t i = 0; i < rows->count; i++) {
        const struct up_row *row = &rows->row[i];
        char number[3][32];
        item += begins_item(rows, i);
        up_text_from_number(row->buoyancy_g, number[0], sizeof number[0]);
        up_text_from_number(row->expanded_u_g, number[1], sizeof number[1]);
        up_text_from_number(row->tolerance_g, number[2], sizeof number[2]);
        if (series_of(rows, row) != 0) {
            fprintf(stream, "%zu\t%d\t%s\t%s\t%s\t%d\n", item, series_of(rows, row), number[0],
                    number[1], number[2], strcmp(row->class, "undecided") != 0);
        }
    }
    return ferror(stream) == 0;
}

/* ---- script: our template behind the few lines that differ ---- */

/* A long name is cut at a character, not within one. */
static char *short_label(const char *name) {
    size_t characters = 0, length = 0;
    while (name[length] != '\0') {
        if (((unsigned char)name[length] & 0xC0) != 0x80 && ++characters > LABEL_CHARACTERS) {
            return up_text_format("%.*s...", (int)length, name);
        }
        length++;
    }
    return up_text_format("%s", name);
}

static bool write_script(FILE *stream, void *context) {
    const struct up_rows *rows = context;
    size_t item = 0;
    fprintf(stream,
            "# Net buoyancy of gear, by upthrust. Draws again with: gnuplot -d items.gp\n"
            "items = %zu\nset encoding utf8\nset ytics noenhanced (",
            count_items(rows));
    for (size_t i = 0; i < rows->count; i++) {
        if (begins_item(rows, i)) {
            char *label = short_label(rows->row[i].name);
            char *escaped = up_text_for_gnuplot(label);
            fprintf(stream, "%s\\\n    %s %zu", item > 0 ? ", " : "", escaped, item + 1);
            item++;
            free(label);
            free(escaped);
        }
    }
    fputs(")\n", stream);
    fputs(embedded_items_gp, stream);
    return ferror(stream) == 0;
}

bool up_plot_write(const struct up_rows *rows, const char *directory, struct up_failure *failure) {
    struct up_rows copy = *rows;
    char *script = up_text_format("%s/items.gp", directory);
    char *data = up_text_format("%s/items.tsv", directory);
    bool good;
    if (rows->count == 0) {
        good = up_fail(failure, UP_STATUS_UNABLE,
                       "the catalogue holds no result to draw: measure an item first");
    } else {
        good = up_text_write_file(data, write_data, &copy, failure) &&
               up_text_write_file(script, write_script, &copy, failure);
    }
    free(script);
    free(data);
    return good;
}

/* ---- gnuplot ---- */

/* -d: without the reader's own start-up file, which could do anything. */
static void exec_gnuplot(const char *directory, int report) {
    int code;
    int null = open("/dev/null", O_RDWR);
    if (chdir(directory) == 0) {
        dup2(null, STDIN_FILENO);
        dup2(null, STDOUT_FILENO);
        execlp("gnuplot", "gnuplot", "-d", "items.gp", (char *)NULL);
    }
    code = errno;
    if (write(report, &code, sizeof code) < 0) {
        _exit(126);
    }
    _exit(127);
}

bool up_plot_draw(const char *directory, struct up_failure *failure) {
    int report[2], status = 0, code = 0;
    pid_t child;
    if (pipe(report) != 0) {
        return up_fail(failure, UP_STATUS_UNABLE, "pipe: %s", strerror(errno));
    }
    fcntl(report[1], F_SETFD, FD_CLOEXEC);
    child = fork();
    if (child == 0) {
        close(report[0]);
        exec_gnuplot(directory, report[1]);
    }
    close(report[1]);
    bool not_run = child < 0 || read(report[0], &code, sizeof code) == (ssize_t)sizeof code;
    close(report[0]);
    if (child > 0) {
        waitpid(child, &status, 0);
    }
    if (not_run) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "cannot run gnuplot: %s; install it (Debian: gnuplot-nox) and draw with "
                       "`gnuplot -d items.gp` in %s; the results are kept",
                       strerror(code), directory);
    }
    return (WIFEXITED(status) && WEXITSTATUS(status) == 0) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "gnuplot could not draw %s/items.gp (status %d); the results are kept",
                   directory, WEXITSTATUS(status));
}
