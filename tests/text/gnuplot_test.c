/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Hostile labels through a real gnuplot: none may run, and each must be drawn as it is. */
#include <dirent.h>
#include <fcntl.h>
#include <setjmp.h>
#include <spawn.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "chance.h"
#include "drawing.h"
#include "text/text.h"

enum { LABELS = 300, PIECES_MAX = 6 };

#define COUNT(array) (sizeof(array) / sizeof *(array))

extern char **environ;

/* The first labels are these alone, the others are made of several. */
static const char *const PIECE[] = {
    "\"",
    "'",
    "\\",
    "`",
    "\"; system(\"touch marker\") #",
    "'; system('touch marker') #",
    "`touch marker`",
    "\\`touch marker\\`",
    "$(touch marker)",
    "\"\n!touch marker\n\"",
    "\n!touch marker\n",
    "\r\nsystem \"touch marker\"\r\n",
    "\\\n!touch marker",
    "\\\"; !touch marker",
    "\" noenhanced; print system(\"touch marker\") #",
    "@marker",
    "$marker",
    "<touch marker",
    "|touch marker",
    "24''",
    "''",
    "\\n",
    "\\042",
    "\\x22",
    "\\\\",
    "%s%n%d%%",
    "#",
    ";",
    "{/Bold x}",
    "{",
    "}",
    "x^2_3~&{y}",
    "<b>&amp;</b>",
    "]]>",
    "<!--",
    "\x01\x07\x1B[2J",
    "\x7F",
    "\t",
    "\v\f",
    "\xC2\x85",
    "\xE2\x80\xA8!touch marker",
    "\xEF\xBB\xBF",
    "\xC3",
    "\xC3\"",
    "\xE2\x82`touch marker`",
    "\xFF\xFE",
    "\xED\xA0\x80",
    "\xC0\xA2",
    "\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80",
    "  two  blanks  ",
    "0",
    "eof",
};

/* The number at the end finds the label again in the drawing. */
static char *make_label(size_t number, struct chance *chance) {
    if (number < COUNT(PIECE)) {
        return up_text_format("%s<%zu>", PIECE[number], number);
    }
    char *label = up_text_format("%s", "");
    for (size_t count = 2 + chance_below(chance, PIECES_MAX - 1); count > 0; count--) {
        char *longer = up_text_format("%s%s", label, PIECE[chance_below(chance, COUNT(PIECE))]);
        free(label);
        label = longer;
    }
    char *numbered = up_text_format("%s<%zu>", label, number);
    free(label);
    return numbered;
}

static bool write_script(FILE *stream, void *context) {
    char **label = context;
    fputs("set encoding utf8\nset terminal svg size 800,800\nset output 'labels.svg'\n"
          "set xrange [0:1]\nset yrange [0:1]\n",
          stream);
    for (int i = 0; i < LABELS; i++) {
        char *escaped = up_text_for_gnuplot(label[i]);
        fprintf(stream, "set label %d %s at 0.5, %.4f noenhanced\n", i + 1, escaped,
                (i + 0.5) / LABELS);
        free(escaped);
    }
    return fputs("plot NaN notitle\n", stream) != EOF;
}

/* Exit status, or -1 where gnuplot could not be started. Without input: a label that got through
   must not wait for the keyboard. */
static int run_gnuplot(void) {
    char name[] = "gnuplot", no_start_file[] = "-d", script[] = "labels.gp";
    char *arguments[] = {name, no_start_file, script, NULL};
    posix_spawn_file_actions_t actions;
    pid_t child;
    int status = -1;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    bool started = posix_spawnp(&child, name, &actions, NULL, arguments, environ) == 0;
    posix_spawn_file_actions_destroy(&actions);
    if (!started) {
        return -1;
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) && WEXITSTATUS(status) != 127 ? WEXITSTATUS(status) : -1;
}

static char *read_whole(const char *path) {
    FILE *stream = fopen(path, "r");
    assert_non_null(stream);
    size_t room = 1 << 20;
    char *text = up_allocate(room, 1);
    size_t length = fread(text, 1, room - 1, stream);
    assert_true(length < room - 1);
    fclose(stream);
    text[length] = '\0';
    return text;
}

static void assert_drawn(const char *drawing, const char *label) {
    char *clean = up_text_clean(label, strlen(label));
    if (!drawing_has_text(drawing, clean)) {
        fail_msg("not drawn as it is: %s", clean);
    }
    free(clean);
}

/* What the run left behind: the script, the drawing and nothing else. */
static void assert_nothing_else_here(void) {
    DIR *here = opendir(".");
    assert_non_null(here);
    for (struct dirent *entry; (entry = readdir(here)) != NULL;) {
        if (entry->d_name[0] != '.' && strncmp(entry->d_name, "labels.", 7) != 0) {
            fail_msg("a label ran: %s was made", entry->d_name);
        }
    }
    closedir(here);
}

static int enter(void **state) {
    static char directory[40];
    snprintf(directory, sizeof directory, "/tmp/upthrust-gnuplot-XXXXXX");
    *state = directory;
    return mkdtemp(directory) == NULL || chdir(directory) != 0;
}

static int leave(void **state) {
    DIR *here = opendir(".");
    for (struct dirent *entry; here != NULL && (entry = readdir(here)) != NULL;) {
        unlink(entry->d_name); /* whatever name a label that ran gave to its marker */
    }
    closedir(here);
    return chdir("/") != 0 || rmdir(*state) != 0;
}

static void test_hostile_labels(void **state) {
    (void)state;
    char *label[LABELS];
    struct chance *chance = chance_begin(7);
    for (size_t i = 0; i < LABELS; i++) {
        label[i] = make_label(i, chance);
    }
    chance_end(chance);
    assert_true(up_text_write_file("labels.gp", write_script, label, NULL));
    int status = run_gnuplot();
    assert_nothing_else_here();
    if (status >= 0) {
        assert_int_equal(status, 0);
        char *drawing = read_whole("labels.svg");
        drawing_decode(drawing);
        for (size_t i = 0; i < LABELS; i++) {
            assert_drawn(drawing, label[i]);
        }
        free(drawing);
    }
    for (size_t i = 0; i < LABELS; i++) {
        free(label[i]);
    }
    if (status < 0) {
        skip();
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_hostile_labels, enter, leave),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
