/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was acknowledged outlives the process, however it ends. */
#include "support.h"

#include <fcntl.h>

enum { ROUNDS = 12, ID_LENGTH = UP_ID_SIZE - 1, MOST = 100000 };

static char acknowledged[MOST][UP_ID_SIZE];
static size_t count;

/* Adds until it is killed. */
static void add_for_ever(int pipe_end) {
    struct up_catalogue *catalogue = NULL;
    json_t *content = json_pack("{s:s}", "filling", NAME_300 NAME_300 NAME_300 NAME_300);
    char id[UP_ID_SIZE];
    if (!up_catalogue_open("c", UP_CATALOGUE_WRITE, &catalogue, NULL)) {
        _exit(1);
    }
    while (up_catalogue_add(catalogue, "trial", NULL, "bench", content, NULL, id, NULL) &&
           write(pipe_end, id, ID_LENGTH) == ID_LENGTH) {
    }
    _exit(1);
}

static void gather(int pipe_end) {
    size_t length = 0;
    ssize_t got;
    while (count < MOST &&
           (got = read(pipe_end, acknowledged[count] + length, ID_LENGTH - length)) > 0) {
        length += (size_t)got;
        if (length == ID_LENGTH) {
            acknowledged[count++][length] = '\0';
            length = 0;
        }
    }
}

/* Exports and lists until it is killed; what it leaves must be whole. */
static void export_for_ever(void) {
    struct up_catalogue *catalogue = NULL;
    int listed = 0;
    bool good = up_catalogue_open("c", UP_CATALOGUE_READ, &catalogue, NULL);
    while (good) {
        good = up_export_csv(catalogue, "c/exchange", NULL) &&
               up_export_json(catalogue, "c/exchange", NULL) &&
               up_catalogue_each(catalogue, "trial", count_one, &listed, NULL);
    }
    _exit(1);
}

static pid_t start(int pipe_end, int other_end) {
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0 && pipe_end < 0) {
        export_for_ever();
    }
    if (child == 0) {
        close(other_end);
        add_for_ever(pipe_end);
    }
    return child;
}

/* Two benches and an exporter, killed one after another while the rest goes on. */
static void kill_them_at_work(void) {
    enum { WRITERS = 2 };
    int ends[WRITERS][2];
    pid_t child[WRITERS + 1];
    for (int i = 0; i < WRITERS; i++) {
        assert_int_equal(pipe2(ends[i], O_CLOEXEC), 0);
        child[i] = start(ends[i][1], ends[i][0]);
        close(ends[i][1]);
    }
    child[WRITERS] = start(-1, -1);
    for (int i = WRITERS; i >= 0; i--) {
        struct timespec pause = {.tv_nsec = (10 + rand() % 50) * 1000000L};
        int status = 0;
        nanosleep(&pause, NULL);
        assert_int_equal(kill(child[i], SIGKILL), 0);
        assert_int_equal(waitpid(child[i], &status, 0), child[i]);
        assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
    }
    for (int i = 0; i < WRITERS; i++) {
        gather(ends[i][0]);
        close(ends[i][0]);
    }
}

static void assert_all_there(sqlite3 *database) {
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(database,
                                        "SELECT count(*) FROM record JOIN detail USING (sha256)"
                                        " WHERE id = ? AND"
                                        " json_extract(detail.body, '$.filling') IS NOT NULL",
                                        -1, &statement, NULL),
                     SQLITE_OK);
    for (size_t i = 0; i < count; i++) {
        sqlite3_bind_text(statement, 1, acknowledged[i], -1, SQLITE_STATIC);
        assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
        assert_int_equal(sqlite3_column_int(statement, 0), 1);
        sqlite3_reset(statement);
    }
    sqlite3_finalize(statement);
}

/* Whatever the exporter was at. */
static void assert_export_is_whole(void) {
    if (access("c/exchange/catalogue.json", F_OK) == 0) {
        json_t *document = json_load_file("c/exchange/catalogue.json", 0, NULL);
        assert_true(json_is_array(json_object_get(document, "versions")));
        json_decref(document);
    }
}

static void nothing_acknowledged_is_lost(void **state) {
    (void)state;
    srand(20);
    up_catalogue_close(open_as("c", UP_CATALOGUE_CREATE));
    for (int round = 0; round < ROUNDS; round++) {
        kill_them_at_work();
        assert_export_is_whole();
    }
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(count > ROUNDS);
    assert_all_there(catalogue->database);
    assert_answer(catalogue->database, "PRAGMA integrity_check", "ok");
    /* Each killed one may have stored one more than it could report. */
    int stored = count_kind(catalogue, "trial");
    assert_in_range(stored, count, count + 2 * ROUNDS);
    print_message("# %zu acknowledged, %d stored\n", count, stored);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(nothing_acknowledged_is_lost),
    };
    return cmocka_run_group_tests_name("catalogue: killed writers and exporters", tests, NULL,
                                       NULL);
}
