/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _GNU_SOURCE /* memmem */
#include "draw.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "glyphs.h"
#include "text/text.h"

unsigned draw_patience_s = 120;

enum { PICTURE_BYTES_MAX = 1 << 30 };

/* ---- the program ---- */

static bool is_program(const char *path) {
    struct stat about;
    return stat(path, &about) == 0 && S_ISREG(about.st_mode) && access(path, X_OK) == 0;
}

/* An empty or relative entry of PATH would mean the current directory. NULL where there is none;
   the caller frees it. */
static char *find_gnuplot(void) {
    const char *path = getenv("PATH");
    for (const char *entry = path != NULL ? path : ""; *entry != '\0';) {
        size_t length = strcspn(entry, ":");
        char *file = up_text_format("%.*s/gnuplot", (int)length, entry);
        if (entry[0] == '/' && is_program(file)) {
            return file;
        }
        free(file);
        entry += length + (entry[length] == ':');
    }
    return NULL;
}

/* -d: without the reader's own start-up file, which could do anything. */
static void exec_gnuplot(const char *program, const char *into, const char *directory,
                         const char *script) {
    int null = open("/dev/null", O_RDWR);
    if (chdir(directory) == 0) {
        dup2(null, STDIN_FILENO);
        dup2(null, STDOUT_FILENO);
        signal(SIGALRM, SIG_DFL);
        alarm(draw_patience_s); /* goes with the process through exec */
        execl(program, "gnuplot", "-d", "-e", into, script, (char *)NULL);
    }
    _exit(127);
}

static bool judge(int status, const char *directory, const char *script,
                  struct up_failure *failure) {
    if (WIFSIGNALED(status) && WTERMSIG(status) == SIGALRM) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "gnuplot did not finish %s/%s in %u s and was ended; the results are kept",
                       directory, script, draw_patience_s);
    }
    if (WIFSIGNALED(status)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "gnuplot was ended by a signal (%s) before it had drawn %s/%s; the results "
                       "are kept",
                       strsignal(WTERMSIG(status)), directory, script);
    }
    return WEXITSTATUS(status) == 0 ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "gnuplot could not draw %s/%s (status %d); the results are kept", directory,
                   script, WEXITSTATUS(status));
}

struct drawing {
    const char *program, *into, *directory, *script;
    const struct up_look *look;
};

/* `file`: the script, or a copy of it; `more`: further settings. */
static bool run_gnuplot(const struct drawing *drawing, const char *file, const char *more,
                        struct up_failure *failure) {
    const struct up_look *look = drawing->look;
    UP_FREED char *folder = up_text_for_gnuplot(drawing->into);
    UP_FREED char *command = up_text_format("into = %s%s%s%s", folder,
                                            look != NULL && look->dark ? "; ground = 'dark'" : "",
                                            look != NULL && look->a4 ? "; sheet = 'a4'" : "", more);
    int status = -1;
    pid_t child = fork();
    if (child == 0) {
        exec_gnuplot(drawing->program, command, drawing->directory, file);
    }
    /* A signal that only sets a flag does not end gnuplot. */
    while (child > 0 && waitpid(child, &status, 0) < 0 && errno == EINTR) {
    }
    return child > 0
               ? judge(status, drawing->directory, drawing->script, failure)
               : up_fail(failure, UP_STATUS_UNABLE, "cannot start gnuplot: %s", strerror(errno));
}

static bool put_copy(FILE *stream, void *context) {
    return fputs(context, stream) >= 0;
}

/* A copy without what no font has makes the PNG; the SVG keeps it, since who looks at it may have
   such a font. */
static bool run_with_copy(const struct drawing *drawing, char *text, struct up_failure *failure) {
    UP_FREED char *copy = up_text_format("%scopy.gp", drawing->into);
    bool good = up_text_write_file(copy, put_copy, text, failure) &&
                run_gnuplot(drawing, copy, "", failure) &&
                run_gnuplot(drawing, drawing->script, "; endings = 'svg'", failure);
    unlink(copy);
    return good;
}

enum { SCRIPT_BYTES_MAX = 1 << 22 };

static bool run(const struct drawing *drawing, struct up_failure *failure) {
    UP_FREED char *path = up_text_format("%s/%s", drawing->directory, drawing->script);
    size_t length;
    if (drawing->program == NULL) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "cannot find gnuplot: install it (Debian: gnuplot-nox) and draw with "
                       "`gnuplot -d %s` in %s; the results are kept",
                       drawing->script, drawing->directory);
    }
    if (!glyphs_of_any_font(path, failure)) {
        return false;
    }
    UP_FREED char *text =
        up_text_read_file(path, UP_LINKS_REFUSED, SCRIPT_BYTES_MAX, &length, NULL);
    UP_FREED char *replaced = text != NULL ? glyphs_replace_missing(text) : NULL;
    return replaced != NULL ? run_with_copy(drawing, replaced, failure)
                            : run_gnuplot(drawing, drawing->script, "", failure);
}

/* ---- the pictures ---- */

struct picture {
    char *bytes;
    size_t length;
};

static bool write_picture(FILE *stream, void *context) {
    const struct picture *picture = context;
    return fwrite(picture->bytes, 1, picture->length, stream) == picture->length;
}

/* gnuplot says nothing where its disk is full: what was cut off has no end. */
static bool is_whole(const struct picture *picture, const char *name) {
    static const struct {
        const char *ending, *last;
    } ends[] = {{".svg", "</svg>"}, {".png", "IEND"}, {".pdf", "%%EOF"}};
    enum { LAST_BYTES = 16 };
    size_t from = picture->length > LAST_BYTES ? picture->length - LAST_BYTES : 0;
    bool whole = true;
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        bool of_this = strcmp(name + strlen(name) - strlen(ends[i].ending), ends[i].ending) == 0;
        whole = whole && (!of_this || memmem(picture->bytes + from, picture->length - from,
                                             ends[i].last, strlen(ends[i].last)) != NULL);
    }
    return whole;
}

/* One picture to its place; whether or not it went well, it leaves our folder. */
static bool take_picture(const char *from, const char *directory, const char *name, bool wanted,
                         struct up_failure *failure) {
    UP_FREED char *made = up_text_format("%s%s", from, name);
    UP_FREED char *path = up_text_format("%s/%s", directory, name);
    struct picture picture = {NULL, 0};
    if (wanted) {
        picture.bytes =
            up_text_read_file(made, UP_LINKS_REFUSED, PICTURE_BYTES_MAX, &picture.length, failure);
    }
    bool good = picture.bytes != NULL &&
                (is_whole(&picture, name) ||
                 up_fail(failure, UP_STATUS_UNABLE,
                         "gnuplot wrote only the beginning of %s: is the disk of %s full? Name "
                         "another folder for it with TMPDIR; the results are kept",
                         name, from)) &&
                up_text_write_file(path, write_picture, &picture, failure);
    free(picture.bytes);
    unlink(made);
    return good;
}

/* A page is made by some scripts only. */
enum { ALWAYS_MADE = 2 };

/* A page of an earlier drawing would show what was true once. */
static void remove_page(const char *directory, const char *name) {
    UP_FREED char *path = up_text_format("%s/%s", directory, name);
    struct stat about;
    if (lstat(path, &about) == 0 && S_ISREG(about.st_mode)) {
        unlink(path);
    }
}

static bool was_made(const char *from, const char *name) {
    UP_FREED char *path = up_text_format("%s%s", from, name);
    return access(path, F_OK) == 0;
}

bool draw_script(const char *directory, const char *script, const struct up_look *look,
                 struct up_failure *failure) {
    static const char *const endings[] = {"svg", "png", "pdf"};
    const char *place = getenv("TMPDIR");
    char *into =
        up_text_format("%s/upthrust-XXXXXX/", place != NULL && place[0] == '/' ? place : "/tmp");
    size_t last = strlen(into) - 1;
    into[last] = '\0';
    if (mkdtemp(into) == NULL) {
        up_fail(failure, UP_STATUS_UNABLE, "cannot make the folder %s to draw in: %s", into,
                strerror(errno));
        free(into);
        return false;
    }
    into[last] = '/';
    UP_FREED char *program = find_gnuplot();
    const struct drawing drawing = {program, into, directory, script, look};
    bool good = run(&drawing, failure);
    for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
        UP_FREED char *name = up_text_format("%.*s%s", (int)strlen(script) - 2, script, endings[i]);
        if (i < ALWAYS_MADE || was_made(into, name)) {
            good = take_picture(into, directory, name, good, failure) && good;
        } else if (good) {
            remove_page(directory, name);
        }
    }
    rmdir(into);
    free(into);
    return good;
}
