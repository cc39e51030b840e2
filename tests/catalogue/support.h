/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the tests of catalogue/ share: a directory of their own, and the file seen from outside. */
#ifndef CATALOGUE_SUPPORT_H
#define CATALOGUE_SUPPORT_H

#ifndef _GNU_SOURCE
#define _GNU_SOURCE
#endif
#include <ftw.h>
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "catalogue/internal.h"
#include "text/text.h"

#define ARRAY(name) (sizeof(name) / sizeof(name)[0])

static inline int remove_one(const char *path, const struct stat *about, int type,
                             struct FTW *place) {
    (void)about, (void)type, (void)place;
    chmod(path, 0700);
    return remove(path);
}

/* Each test has an empty directory of its own and stands in it. */
static inline int enter(void **state) {
    static char directory[40];
    snprintf(directory, sizeof directory, "/tmp/upthrust-catalogue-XXXXXX");
    *state = directory;
    catalogue_patience_ms = 10000;
    catalogue_clock_step_s = 0;
    catalogue_signs = true;
    return mkdtemp(directory) == NULL || setenv("XDG_STATE_HOME", directory, 1) != 0 ||
           chmod(directory, 0755) != 0 || chdir(directory) != 0;
}

static inline int leave(void **state) {
    return chdir("/") != 0 || nftw(*state, remove_one, 16, FTW_DEPTH | FTW_PHYS) != 0;
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, enter, leave)

static inline void write_all(const char *path, const char *text) {
    FILE *stream = fopen(path, "wb");
    assert_non_null(stream);
    assert_true(fputs(text, stream) >= 0);
    assert_int_equal(fclose(stream), 0);
}

static inline struct up_catalogue *open_as(const char *directory, enum up_catalogue_mode mode) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    if (!up_catalogue_open(directory, mode, &catalogue, &failure)) {
        fail_msg("%s", failure.text);
    }
    return catalogue;
}

static inline void assert_says(const struct up_failure *failure, enum up_status status,
                               const char *words) {
    if (failure->status != status || strstr(failure->text, words) == NULL) {
        fail_msg("status %d, \"%s\", not %d and \"%s\"", (int)failure->status, failure->text,
                 (int)status, words);
    }
    assert_null(strchr(failure->text, '\n'));
    assert_true(strlen(failure->text) < sizeof failure->text - 1);
}

static inline void assert_refused(const char *directory, enum up_catalogue_mode mode,
                                  enum up_status status, const char *words) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = (struct up_catalogue *)&failure;
    assert_false(up_catalogue_open(directory, mode, &catalogue, &failure));
    assert_null(catalogue);
    assert_says(&failure, status, words);
}

/* The file as any other program sees it. */
static inline sqlite3 *outside(const char *path) {
    sqlite3 *database = NULL;
    assert_int_equal(sqlite3_open(path, &database), SQLITE_OK);
    return database;
}

static inline void sql(sqlite3 *database, const char *text) {
    char *error = NULL;
    if (sqlite3_exec(database, text, NULL, NULL, &error) != SQLITE_OK) {
        fail_msg("%s: %s", text, error);
    }
}

/* The first column of the first row; freed by the caller. */
static inline char *ask(sqlite3 *database, const char *text) {
    sqlite3_stmt *statement = NULL;
    if (sqlite3_prepare_v2(database, text, -1, &statement, NULL) != SQLITE_OK) {
        fail_msg("%s: %s", text, sqlite3_errmsg(database));
    }
    if (sqlite3_step(statement) != SQLITE_ROW) {
        fail_msg("%s: %s", text, sqlite3_errmsg(database));
    }
    const unsigned char *value = sqlite3_column_text(statement, 0);
    char *answer = up_text_format("%s", value != NULL ? (const char *)value : "NULL");
    sqlite3_finalize(statement);
    return answer;
}

/* What only somebody who means it can do: the rules are put back afterwards. */
static inline void without_triggers(sqlite3 *database, const char *text) {
    char *make = ask(database, "SELECT group_concat(sql, ';') FROM sqlite_master"
                               " WHERE type = 'trigger'");
    char *drop = ask(database, "SELECT group_concat('DROP TRIGGER ' || name, ';')"
                               " FROM sqlite_master WHERE type = 'trigger'");
    sql(database, drop);
    sql(database, text);
    sql(database, make);
    free(drop);
    free(make);
}

static inline void assert_answer(sqlite3 *database, const char *text, const char *wanted) {
    char *answer = ask(database, text);
    if (strcmp(answer, wanted) != 0) {
        fail_msg("%s: %s, not %s", text, answer, wanted);
    }
    free(answer);
}

static inline void assert_file_answer(const char *path, const char *text, const char *wanted) {
    sqlite3 *database = outside(path);
    assert_answer(database, text, wanted);
    sqlite3_close(database);
}

/* Adds {"n": number} and returns its id in a buffer that the next call uses again. */
static inline const char *add_number(struct up_catalogue *catalogue, const char *kind,
                                     const char *subject, const char *replaces, int number) {
    static char id[UP_ID_SIZE];
    struct up_failure failure = {0};
    json_t *content = json_pack("{s:i}", "n", number);
    if (!up_catalogue_add(catalogue, kind, subject, "bench", content, replaces, id, &failure)) {
        fail_msg("%s", failure.text);
    }
    json_decref(content);
    return id;
}

static inline bool count_one(const struct up_record *record, void *context) {
    (void)record;
    ++*(int *)context;
    return true;
}

static inline int count_kind(struct up_catalogue *catalogue, const char *kind) {
    struct up_failure failure = {0};
    int count = 0;
    if (!up_catalogue_each(catalogue, kind, count_one, &count, &failure)) {
        fail_msg("%s", failure.text);
    }
    return count;
}

/* Runs work() in a process without root's powers; true when it returns true. */
static inline bool as_nobody(bool (*work)(void)) {
    int status = -1;
    fflush(NULL);
    pid_t child = fork();
    if (child == 0) {
        bool humble = geteuid() != 0 || (setgid(65534) == 0 && setuid(65534) == 0);
        _exit(humble && work() ? 0 : 1);
    }
    assert_true(child > 0 && waitpid(child, &status, 0) == child);
    return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

static inline struct up_item plain_item(const char *name) {
    struct up_item item = {.kind = "fin",
                           .pieces = 1,
                           .tolerance_g = UP_TOLERANCE_ONE_G,
                           .expansion_per_k = UP_EXPANSION_PER_K,
                           .u_expansion_per_k = UP_U_EXPANSION_PER_K};
    snprintf(item.name, sizeof item.name, "%s", name);
    return item;
}

static inline struct up_item add_item(struct up_catalogue *catalogue, const char *name) {
    struct up_failure failure = {0};
    struct up_item item = plain_item(name);
    if (!up_item_add(catalogue, &item, &failure)) {
        fail_msg("%s", failure.text);
    }
    return item;
}

static inline struct up_result plain_result(const char *item_id, const char *water) {
    struct up_result result = {
        .water = {.temp_c = 20, .salinity_g_kg = 0.3, .depth_m = 0.5},
        .measured = true,
        .water_density_kg_m3 = {998.2067, 0.02, (double)INFINITY},
        .immersion_depth_m = 0.45,
        .air_pressure_pa = 101325,
        .soak_s = 600,
        .compressible = true,
        .answer = {.buoyancy_kg = {-0.1234567890123, 0.001, (double)INFINITY},
                   .expanded_u_kg = 0.00196,
                   .probability_neutral = 1.0 / 3,
                   .probability_negative = 2.0 / 3,
                   .class = UP_CLASS_NEGATIVE,
                   .volume_m3 = 1.5e-3,
                   .mass_kg = 1.62},
        .question = {.tolerance_kg = 0.05, .coverage = 0.95, .confidence = 0.9},
        .trials = 3,
        .pieces = 1,
        .method = "upthrust 0.1.0, calibration x, \"rule\"",
    };
    snprintf(result.item_id, sizeof result.item_id, "%s", item_id);
    snprintf(result.water.name, sizeof result.water.name, "%s", water);
    up_new_id(result.run_id);
    result.weighing.term[UP_INPUT_WATER_LOAD] =
        (struct up_term){-12345.5, 3.25, 2, UP_STUDENT, 'A', -1e-5, 0.75};
    result.weighing.term[UP_INPUT_TRAPPED_AIR] =
        (struct up_term){0.001, 0.0005, (double)INFINITY, UP_RECTANGULAR, 'B', -1, 0.25};
    return result;
}

static inline struct up_calibration plain_calibration(const char *bench,
                                                      double slope_counts_per_kg) {
    struct up_calibration calibration = {.slope_counts_per_kg = slope_counts_per_kg,
                                         .u_slope_counts_per_kg = 12.5,
                                         .dof = 9,
                                         .mass_tolerance_rel = 1e-4,
                                         .lack_of_fit_kg = 1.0 / 3000,
                                         .offset_counts = -3,
                                         .u_offset_counts = 4,
                                         .creep_rel_decade = -2e-5,
                                         .noise_counts = 30,
                                         .air_density_kg_m3 = 1.2,
                                         .read_after_s = 10,
                                         .window_s = 5,
                                         .span_kg = 5,
                                         .points = 2,
                                         .point = {{1, 1e5, 3, 0.01, 0}, {5, 5e5, 3, -0.02, 0}}};
    snprintf(calibration.bench, sizeof calibration.bench, "%s", bench);
    snprintf(calibration.rig_sha256, sizeof calibration.rig_sha256, "%064d", 7);
    return calibration;
}

/* A file that lies beside a test's source; freed by the caller. */
static inline char *beside(const char *source, const char *name) {
    char origin[2048] = "";
    const char *slash = strrchr(source, '/');
    if (source[0] != '/' && readlink("/proc/self/exe", origin, sizeof origin - 1) > 0) {
        char *build = strstr(origin, "/build/");
        if (build != NULL) {
            build[1] = '\0';
        }
    }
    return up_text_format("%s%.*s/%s", origin, (int)(slash - source), source, name);
}

/* Python run with a script that lies beside the test; 77 where there is none, or it lacks what the
   script needs. */
enum { NO_PYTHON = 77 };

static inline int run_script(const char *file, const char *script, const char *const *arguments,
                             size_t count) {
    char *list[64] = {0};
    int status = -1;
    list[0] = up_text_format("python3");
    list[1] = beside(file, script);
    for (size_t i = 0; i < count && i + 3 < ARRAY(list); i++) {
        list[i + 2] = up_text_format("%s", arguments[i]);
    }
    fflush(NULL);
    pid_t child = fork();
    if (child == 0) {
        setenv("PYTHONUTF8", "1", 1);
        execvp("python3", list);
        _exit(NO_PYTHON);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    for (size_t i = 0; list[i] != NULL; i++) {
        free(list[i]);
    }
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

#define NAME_300                                                                                   \
    "0123456789012345678901234567890123456789012345678901234567890123456789012345678901234567"     \
    "8901234567890123456789012345678901234567890123456789012345678901234567890123456789012345"     \
    "6789012345678901234567890123456789012345678901234567890123456789012345678901234567890123"     \
    "456789012345678901234567890123456789"

/* Names that mean something to SQL, shells, spreadsheets, plots or terminals, and what is stored.
 */
static const struct {
    const char *given, *stored;
} hostile_names[] = {
    {"Long \"blade\", 'red'", "Long \"blade\", 'red'"},
    {"'); drop table record;--", "'); drop table record;--"},
    {"two\nlines\r\nand\ttab", "two\xEF\xBF\xBDlines\xEF\xBF\xBD\xEF\xBF\xBD"
                               "and\xEF\xBF\xBDtab"},
    {"\"; system(\"x\")", "\"; system(\"x\")"},
    {"=cmd()", "=cmd()"},
    {"@SUM(A1)", "@SUM(A1)"},
    {"-2", "-2"},
    {" leading and trailing ", " leading and trailing "},
    {"a,b;c|d", "a,b;c|d"},
    {"%s%n %1$s", "%s%n %1$s"},
    {"`reboot` $(reboot)", "`reboot` $(reboot)"},
    {"\xF0\x9F\xA4\xBF fin \xE2\x9A\x93", "\xF0\x9F\xA4\xBF fin \xE2\x9A\x93"},
    {"bad \xFF\xC3 bytes", "bad \xEF\xBF\xBD\xEF\xBF\xBD bytes"},
    {"\x1B[31mred", "\xEF\xBF\xBD[31mred"},
    {"null", "null"},
    {"<script>alert(1)</script>", "<script>alert(1)</script>"},
    {"\xD7\xA1\xD7\xA0\xD7\xA4\xD7\x99\xD7\xA8 \xD8\xB2\xD8\xB9\xD9\x86\xD9\x81\xD8\xA9",
     "\xD7\xA1\xD7\xA0\xD7\xA4\xD7\x99\xD7\xA8 \xD8\xB2\xD8\xB9\xD9\x86\xD9\x81\xD8\xA9"},
    {NAME_300, NAME_300},
};

#endif
