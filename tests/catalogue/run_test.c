/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The files a run leaves: they must be enough to replay it. */
#include "support.h"

#include <sys/resource.h>

#include "catalogue/run.h"

static struct up_run *open_run(struct up_catalogue *catalogue, json_t *about,
                               char run_id[UP_ID_SIZE]) {
    struct up_failure failure = {0};
    struct up_run *run = NULL;
    if (!up_run_open(catalogue, "bench", about, run_id, &run, &failure)) {
        fail_msg("%s", failure.text);
    }
    return run;
}

static void note(struct up_run *run, const char *event) {
    struct up_failure failure = {0};
    if (!up_run_journal(run, json_pack("{s:s}", "event", event), &failure)) {
        fail_msg("%s", failure.text);
    }
}

static size_t read_in(const char *run_id, const char *name, char *bytes, size_t size) {
    char *path = up_text_format("c/runs/%s/%s", run_id, name);
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    size_t length = fread(bytes, 1, size - 1, stream);
    bytes[length] = '\0';
    fclose(stream);
    free(path);
    return length;
}

/* The lines of a journal as objects, in an array that the caller owns. */
static json_t *read_journal(const char *run_id) {
    static char text[1 << 16];
    json_t *lines = json_array();
    size_t length = read_in(run_id, "journal.jsonl", text, sizeof text);
    assert_true(length > 0 && text[length - 1] == '\n');
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        json_t *entry = json_loads(line, 0, NULL);
        assert_true(json_is_object(entry));
        json_array_append_new(lines, entry);
    }
    return lines;
}

static void assert_line(const json_t *lines, size_t i, const char *event, int offset) {
    const json_t *line = json_array_get(lines, i);
    assert_string_equal(json_string_value(json_object_get(line, "event")), event);
    assert_true(json_is_integer(json_object_get(line, "offset")));
    assert_int_equal(json_integer_value(json_object_get(line, "offset")), offset);
}

static void stream_and_journal_tell_one_story(void **state) {
    (void)state;
    static const char odd[] = {'\0', (char)0xFF, '\r', '\n', '\x1B'};
    char run_id[UP_ID_SIZE], bytes[64];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_pack("{s:s, s:f}", "item_id", "some \"item\"\n", "third", 1.0 / 3);
    struct up_run *run = open_run(catalogue, about, run_id);
    up_run_bytes(run, "123\n", 4);
    note(run, "key");
    note(run, "line\nbreak");
    up_run_bytes(run, odd, sizeof odd);
    up_run_bytes(run, odd, 0);
    note(run, "end");
    up_run_close(run);

    assert_int_equal(read_in(run_id, "stream", bytes, sizeof bytes), 9);
    assert_memory_equal(bytes, "123\n", 4);
    assert_memory_equal(bytes + 4, odd, sizeof odd);
    json_t *lines = read_journal(run_id);
    assert_int_equal(json_array_size(lines), 4);
    assert_line(lines, 0, "run", 0);
    assert_line(lines, 1, "key", 4);
    assert_line(lines, 2, "line\nbreak", 4);
    assert_line(lines, 3, "end", 9);
    const json_t *first = json_array_get(lines, 0);
    assert_string_equal(json_string_value(json_object_get(first, "run_id")), run_id);
    assert_true(json_equal(json_object_get(first, "item_id"), json_object_get(about, "item_id")));
    assert_true(json_number_value(json_object_get(first, "third")) == 1.0 / 3);
    json_decref(lines);
    json_decref(about);
    up_catalogue_close(catalogue);
}

static void arrivals_count_from_the_beginning(void **state) {
    (void)state;
    const struct timespec pause = {.tv_nsec = 30 * 1000000L};
    char run_id[UP_ID_SIZE];
    double before = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    struct up_run *run = open_run(catalogue, about, run_id);
    catalogue_clock_step_s = -86400; /* the wall clock is not asked */
    nanosleep(&pause, NULL);
    note(run, "later");
    up_run_close(run);
    json_t *lines = read_journal(run_id);
    for (size_t i = 0; i < json_array_size(lines); i++) {
        const json_t *arrival = json_object_get(json_array_get(lines, i), "arrival_s");
        assert_true(json_is_real(arrival) && json_real_value(arrival) >= before);
        before = json_real_value(arrival);
    }
    assert_true(before >= 0.03 && before < 60);
    json_decref(lines);
    json_decref(about);
    up_catalogue_close(catalogue);
}

static void a_told_line_is_out_of_the_program(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE], bytes[64];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    struct up_run *run = open_run(catalogue, about, run_id);
    up_run_bytes(run, "123\n", 4);
    note(run, "key");
    assert_int_equal(read_in(run_id, "stream", bytes, sizeof bytes), 4);
    json_t *lines = read_journal(run_id);
    assert_int_equal(json_array_size(lines), 2);
    json_decref(lines);
    up_run_close(run);
    json_decref(about);
    up_catalogue_close(catalogue);
}

struct seen {
    struct up_record record;
    json_t *content;
    int count;
};

static bool keep(const struct up_record *record, void *context) {
    struct seen *seen = context;
    seen->record = *record;
    json_decref(seen->content);
    seen->content = json_deep_copy(record->content);
    seen->count++;
    return true;
}

static void a_run_is_a_record(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE];
    struct seen seen = {.count = 0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_pack("{s:s, s:i}", "event", "calibrate", "n", 7);
    json_t *copy = json_deep_copy(about);
    struct up_run *run = open_run(catalogue, about, run_id);
    assert_true(json_equal(about, copy)); /* only borrowed */
    assert_true(up_catalogue_each(catalogue, "run", keep, &seen, NULL));
    assert_int_equal(seen.count, 1);
    assert_string_equal(seen.record.subject, run_id);
    assert_string_equal(seen.record.bench, "bench");
    assert_true(json_is_null(json_object_get(seen.content, "how_ended")));
    assert_int_equal(strlen(json_string_value(json_object_get(seen.content, "begun_utc"))), 24);
    assert_int_equal(json_integer_value(json_object_get(seen.content, "bench_sequence")), 1);
    json_object_del(seen.content, "how_ended");
    json_object_del(seen.content, "begun_utc");
    json_object_del(seen.content, "bench_sequence");
    assert_true(json_equal(seen.content, copy));
    up_run_close(run);
    json_decref(seen.content);
    json_decref(copy);
    json_decref(about);
    up_catalogue_close(catalogue);
}

static void runs_keep_apart(void **state) {
    (void)state;
    char one_id[UP_ID_SIZE], two_id[UP_ID_SIZE], bytes[8];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    struct up_run *one = open_run(catalogue, about, one_id);
    struct up_run *two = open_run(catalogue, about, two_id);
    assert_string_not_equal(one_id, two_id);
    up_run_bytes(one, "1", 1);
    up_run_bytes(two, "22", 2);
    up_run_close(one);
    up_run_close(two);
    up_run_close(NULL);
    read_in(one_id, "stream", bytes, sizeof bytes);
    assert_string_equal(bytes, "1");
    read_in(two_id, "stream", bytes, sizeof bytes);
    assert_string_equal(bytes, "22");
    assert_int_equal(count_kind(catalogue, "run"), 2);
    json_decref(about);
    up_catalogue_close(catalogue);
}

/* ---- how runs end ---- */

static void a_run_tells_how_it_ended(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE];
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_pack("{s:s}", "what", "measure");
    json_t *more = json_pack("{s:i, s:i}", "trials", 5, "results", 3);
    struct up_run *run = open_run(catalogue, about, run_id);
    assert_file_answer("c/catalogue.sqlite", "SELECT how_ended IS NULL FROM run", "1");
    assert_true(up_run_end(run, "completed", more, &failure));
    up_run_close(run);
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM run", "1");
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT how_ended || trials || results || what || (begun_utc <= made_utc)"
                       " FROM run",
                       "completed53measure1");
    json_t *lines = read_journal(run_id);
    assert_line(lines, json_array_size(lines) - 1, "end", 0);
    json_decref(lines);
    json_decref(more);
    json_decref(about);
    up_catalogue_close(catalogue);
}

struct reported {
    struct up_lost_run lost;
    int count;
};

static void keep_lost(const struct up_lost_run *lost, void *context) {
    struct reported *reported = context;
    reported->lost = *lost;
    reported->count++;
}

static void add_trial(struct up_catalogue *catalogue, const char *run_id) {
    json_t *content = json_pack("{s:s}", "run_id", run_id);
    assert_true(up_catalogue_add(catalogue, "trial", NULL, "bench", content, NULL, NULL, NULL));
    json_decref(content);
}

/* Begins a run, stores two trials of it, takes in one that somebody made, and one of another, and
 * is killed. */
static void crash(void) {
    fflush(NULL);
    pid_t child = fork();
    if (child == 0) {
        char run_id[UP_ID_SIZE];
        struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
        json_t *about = json_pack("{s:s, s:s}", "what", "measure", "item_id", "some-item");
        open_run(catalogue, about, run_id);
        add_trial(catalogue, run_id);
        add_trial(catalogue, run_id);
        add_trial(catalogue, run_id);
        sql(catalogue->database, "DELETE FROM local_mark WHERE record_id ="
                                 " (SELECT max(id) FROM record WHERE kind = 'trial')");
        add_trial(catalogue, "another");
        kill(getpid(), SIGKILL);
    }
    assert_int_equal(waitpid(child, NULL, 0), child);
}

static void a_lost_run_is_told_once(void **state) {
    (void)state;
    struct reported reported = {.count = 0};
    char run_id[UP_ID_SIZE];
    struct up_failure failure = {0};
    crash();
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    struct up_catalogue *second = open_as("c", UP_CATALOGUE_WRITE);
    json_t *about = json_pack("{s:s}", "what", "calibrate");
    struct up_run *run = open_run(catalogue, about, run_id); /* at work: not lost */
    assert_true(up_run_recover(second, keep_lost, &reported, &failure));
    assert_int_equal(reported.count, 1);
    assert_string_equal(reported.lost.item_id, "some-item");
    assert_string_equal(reported.lost.what, "measure");
    assert_int_equal(reported.lost.trials, 2);
    assert_true(up_run_recover(second, keep_lost, &reported, &failure));
    assert_int_equal(reported.count, 1);
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT group_concat(coalesce(how_ended, '-')) FROM"
                       " (SELECT how_ended FROM run ORDER BY what)",
                       "-,crashed");
    up_run_close(run);
    json_decref(about);
    up_catalogue_close(second);
    up_catalogue_close(catalogue);
}

static void a_run_from_elsewhere_is_not_lost(void **state) {
    (void)state;
    struct reported reported = {.count = 0};
    struct up_intake taken = {0};
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about =
        json_pack("{s:s, s:s, s:s}", "what", "measure", "version", "0", "rig_sha256", "0");
    char run_id[UP_ID_SIZE];
    struct up_run *run = open_run(catalogue, about, run_id);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    if (!up_catalogue_merge(other, "c", false, &taken, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_true(up_run_recover(other, keep_lost, &reported, &failure));
    assert_int_equal(reported.count, 0);
    assert_int_equal(count_kind(other, "run"), 1);
    up_run_close(run);
    json_decref(about);
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* Kept here, and the record commits to it. */
static void assert_private(struct up_catalogue *catalogue, const char *record_id,
                           const char *text) {
    struct up_private found;
    UP_FREED char *query = up_text_format(
        "SELECT json_extract(body, '$.text_commitment') FROM record WHERE id = '%s'", record_id);
    assert_true(up_private_find(catalogue, record_id, "file_text", &found, NULL));
    assert_string_equal(found.text, text);
    assert_true(found.fits);
    assert_answer(catalogue->database, query, found.commitment);
    free(found.text);
}

static void a_rig_is_kept_once_a_version(void **state) {
    (void)state;
    struct up_failure failure = {0};
    char first[UP_ID_SIZE], again[UP_ID_SIZE], changed[UP_ID_SIZE], back[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_rig_version rig = {"bench", "the tank", "00", "[rig]\nid = bench\n", false};
    assert_true(up_rig_store(catalogue, &rig, first, &failure));
    assert_true(up_rig_store(catalogue, &rig, again, &failure));
    assert_string_equal(first, again);
    rig.file_text = "[rig]\nid = bench\n; more \xFF\n";
    assert_true(up_rig_store(catalogue, &rig, changed, &failure));
    assert_string_not_equal(first, changed);
    rig.file_text = "[rig]\nid = bench\n";
    assert_true(up_rig_store(catalogue, &rig, back, &failure));
    assert_string_not_equal(first, back);
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM rig", "1");
    assert_file_answer("c/catalogue.sqlite", "SELECT file_text FROM rig", "NULL");
    assert_private(catalogue, back, "[rig]\nid = bench\n");
    assert_private(catalogue, changed, "[rig]\nid = bench\n; more \xEF\xBF\xBD\n");
    assert_int_equal(count_kind(catalogue, "rig"), 1);
    up_catalogue_close(catalogue);
}

static void results_are_stored_all_or_none(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_result result[3] = {plain_result("some-item", "tank"),
                                  plain_result("some-item", "fresh"),
                                  plain_result("some-item", "sea")};
    result[2].answer.buoyancy_kg.value = 1e305; /* no other catalogue would take it in */
    assert_false(up_results_add(catalogue, result, 3, "bench", &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "\"buoyancy_g\" is 1e+308 g");
    assert_int_equal(count_kind(catalogue, "result"), 0);
    assert_int_equal(count_kind(catalogue, "decision"), 0);
    assert_true(up_results_add(catalogue, result, 2, "bench", &failure));
    assert_int_equal(count_kind(catalogue, "result"), 2);
    assert_int_equal(count_kind(catalogue, "decision"), 2);
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) FROM decision JOIN result USING (result_id) WHERE"
                       " decision.class = result.class AND decision.water = result.water"
                       " AND decision.confidence = 0.9 AND decision.tolerance_g = 50",
                       "2");
    up_catalogue_close(catalogue);
}

/* ---- what fails ---- */

static void assert_run_refused(struct up_catalogue *catalogue, const char *words) {
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    struct up_run *run = (struct up_run *)&failure;
    json_t *about = json_object();
    assert_false(up_run_open(catalogue, "bench", about, run_id, &run, &failure));
    assert_null(run);
    assert_says(&failure, UP_STATUS_UNABLE, words);
    assert_int_equal(count_kind(catalogue, "run"), 0);
    json_decref(about);
}

static void without_its_files_no_run_begins(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_int_equal(rmdir("c/runs"), 0);
    assert_run_refused(catalogue, "cannot make the run's files in c/runs/");
    up_catalogue_close(catalogue);
}

static void without_its_record_no_run_begins(void **state) {
    (void)state;
    catalogue_patience_ms = 100;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    sqlite3 *other = outside("c/catalogue.sqlite");
    sql(other, "BEGIN IMMEDIATE");
    assert_run_refused(catalogue, "locked by another program");
    sql(other, "ROLLBACK");
    sqlite3_close(other);
    up_catalogue_close(catalogue);
}

/* Under a limit of the file size, as a full disk would: the bytes fail silently, the journal
   reports it, and again. */
static void a_failed_write_is_told_by_the_journal(void **state) {
    (void)state;
    static char many[1 << 20];
    struct up_failure failure = {0};
    struct rlimit before, small;
    char run_id[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    struct up_run *run = open_run(catalogue, about, run_id);
    signal(SIGXFSZ, SIG_IGN);
    getrlimit(RLIMIT_FSIZE, &before);
    small = before;
    small.rlim_cur = sizeof many / 2;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    up_run_bytes(run, many, sizeof many);
    bool good = up_run_journal(run, json_pack("{s:s}", "event", "key"), &failure);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_DFL);
    assert_false(good);
    assert_says(&failure, UP_STATUS_UNABLE, "cannot write to c/runs/");
    assert_false(up_run_journal(run, json_pack("{s:s}", "event", "key"), NULL));
    up_run_close(run);
    json_decref(about);
    up_catalogue_close(catalogue);
}

/* Space that is free again does not mend what is cut: a line on the end of half a line, or bytes
   after others that are missing, could never be read back. */
static void nothing_follows_what_could_not_be_written(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct rlimit before, small;
    struct up_run_files left;
    char run_id[UP_ID_SIZE], text[1 << 12];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    struct up_run *run = open_run(catalogue, about, run_id);
    up_run_bytes(run, "123\n", 4);
    note(run, "key");
    signal(SIGXFSZ, SIG_IGN);
    getrlimit(RLIMIT_FSIZE, &before);
    small = before;
    small.rlim_cur = read_in(run_id, "journal.jsonl", text, sizeof text) + 10;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    bool good = up_run_journal(run, json_pack("{s:s}", "event", "lost"), &failure);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_DFL);
    assert_false(good);
    up_run_bytes(run, "456\n", 4);
    up_run_arrival(run, 1);
    assert_false(up_run_journal(run, json_pack("{s:s}", "event", "later"), &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "cannot write to c/runs/");
    assert_false(up_run_sync(run, NULL));
    up_run_close(run);
    if (!up_run_read(catalogue, run_id, &left, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(left.length, 4);
    assert_int_equal(json_array_size(left.journal), 2);
    up_run_files_free(&left);
    json_decref(about);
    up_catalogue_close(catalogue);
}

/* ---- a run's files, if somebody else had a hand in them ---- */

/* What stands for the file `name` of a run that is else whole. */
static void put_in_place(const char *run_id, const char *name, const char *kind) {
    char *path = up_text_format("c/runs/%s/%s", run_id, name);
    remove(path);
    if (strcmp(kind, "pipe") == 0) {
        assert_int_equal(mkfifo(path, 0600), 0);
    } else if (strcmp(kind, "directory") == 0) {
        assert_int_equal(mkdir(path, 0700), 0);
    } else if (strcmp(kind, "many") == 0) {
        FILE *stream = fopen(path, "w");
        assert_non_null(stream);
        for (int i = 0; i < 5000000; i++) {
            fputs("{}\n", stream);
        }
        fclose(stream);
    } else if (strcmp(kind, "large") == 0) {
        write_all(path, "");
        assert_int_equal(truncate(path, (off_t)UP_RUN_STREAM_BYTES_MAX + 1), 0);
    } else {
        assert_int_equal(symlink(kind, path), 0);
    }
    free(path);
}

static void only_plain_files_of_bounded_size_are_read(void **state) {
    (void)state;
    static const struct {
        const char *name, *kind, *words;
    } cases[] = {{"stream", "pipe", "stream: it is a pipe or a device"},
                 {"stream", "directory", "stream: it is a directory"},
                 {"stream", "/dev/zero", "stream: it is a link"},
                 {"stream", "../../catalogue.sqlite", "stream: it is a link"},
                 {"stream", "large", "stream: it is larger than 1024 MiB"},
                 {"journal.jsonl", "pipe", "journal.jsonl: it is a pipe or a device"},
                 {"journal.jsonl", "/dev/zero", "journal.jsonl: it is a link"},
                 {"journal.jsonl", "large", "journal.jsonl: it is larger than 128 MiB"},
                 {"journal.jsonl", "many", "journal.jsonl contains more values than fit"}};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_pack("{s:s}", "what", "measure");
    for (size_t i = 0; i < ARRAY(cases); i++) {
        char run_id[UP_ID_SIZE];
        struct up_failure failure = {0};
        struct up_run_files left;
        up_run_close(open_run(catalogue, about, run_id));
        put_in_place(run_id, cases[i].name, cases[i].kind);
        assert_false(up_run_read(catalogue, run_id, &left, &failure));
        assert_says(&failure, UP_STATUS_WRONG_INPUT, cases[i].words);
    }
    json_decref(about);
    up_catalogue_close(catalogue);
}

static void tell_nobody(const struct up_lost_run *lost, void *context) {
    (void)lost;
    ++*(int *)context;
}

/* At the next start each run without an end is looked at. */
static void a_pipe_for_a_journal_keeps_nobody(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_pack("{s:s}", "what", "measure");
    char run_id[UP_ID_SIZE];
    struct up_failure failure = {0};
    int lost = 0;
    up_run_close(open_run(catalogue, about, run_id));
    put_in_place(run_id, "journal.jsonl", "pipe");
    assert_true(up_run_recover(catalogue, tell_nobody, &lost, &failure));
    assert_int_equal(lost, 0);
    json_decref(about);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(stream_and_journal_tell_one_story),
        TEST(arrivals_count_from_the_beginning),
        TEST(a_told_line_is_out_of_the_program),
        TEST(a_run_is_a_record),
        TEST(runs_keep_apart),
        TEST(a_run_tells_how_it_ended),
        TEST(a_lost_run_is_told_once),
        TEST(a_run_from_elsewhere_is_not_lost),
        TEST(a_rig_is_kept_once_a_version),
        TEST(results_are_stored_all_or_none),
        TEST(without_its_files_no_run_begins),
        TEST(without_its_record_no_run_begins),
        TEST(a_failed_write_is_told_by_the_journal),
        TEST(nothing_follows_what_could_not_be_written),
        TEST(only_plain_files_of_bounded_size_are_read),
        TEST(a_pipe_for_a_journal_keeps_nobody),
    };
    return cmocka_run_group_tests_name("catalogue: runs", tests, NULL, NULL);
}
