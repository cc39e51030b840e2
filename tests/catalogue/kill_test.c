/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was acknowledged outlives the process, however it ends. */
#include "support.h"

enum { ROUNDS = 30, ID_LENGTH = UP_ID_SIZE - 1, MOST = 100000 };

static char acknowledged[MOST][UP_ID_SIZE];
static size_t count;

/* Adds until it is killed. */
static void add_for_ever(int pipe_end) {
    struct up_catalogue *catalogue = NULL;
    json_t *body = json_pack("{s:s}", "filling", NAME_300 NAME_300 NAME_300 NAME_300);
    char id[UP_ID_SIZE];
    if (!up_catalogue_open("c", UP_CATALOGUE_CREATE, &catalogue, NULL)) {
        _exit(1);
    }
    while (up_catalogue_add(catalogue, "trial", NULL, "bench", body, NULL, id, NULL) &&
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

static void kill_a_writer(void) {
    int ends[2], status = 0;
    assert_int_equal(pipe(ends), 0);
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        close(ends[0]);
        add_for_ever(ends[1]);
    }
    close(ends[1]);
    struct timespec pause = {.tv_nsec = (20 + rand() % 61) * 1000000L};
    nanosleep(&pause, NULL);
    assert_int_equal(kill(child, SIGKILL), 0);
    gather(ends[0]);
    close(ends[0]);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
}

static void assert_all_there(sqlite3 *database) {
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(database,
                                        "SELECT count(*) FROM record WHERE id = ? AND"
                                        " json_extract(body, '$.filling') IS NOT NULL",
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

static void nothing_acknowledged_is_lost(void **state) {
    (void)state;
    srand(20);
    for (int round = 0; round < ROUNDS; round++) {
        kill_a_writer();
    }
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(count > ROUNDS);
    assert_all_there(catalogue->database);
    assert_answer(catalogue->database, "PRAGMA integrity_check", "ok");
    /* Each killed one may have stored one more than it could tell. */
    int stored = count_kind(catalogue, "trial");
    assert_in_range(stored, count, count + ROUNDS);
    print_message("# %zu acknowledged, %d stored\n", count, stored);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(nothing_acknowledged_is_lost),
    };
    return cmocka_run_group_tests_name("catalogue: killed writers", tests, NULL, NULL);
}
