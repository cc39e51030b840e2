/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A backup is whole or not there, whoever writes meanwhile; of a damaged file what is sound is
   saved, and nothing else. */
#include "../catalogue/support.h"
#include "catalogue/run.h"
#include "keep/keep.h"

#include <dirent.h>
#include <fcntl.h>

static unsigned doubts[UP_RECORD_UNSIGNED + 1];

static bool count_doubt(const struct up_doubtful_record *doubtful, void *context) {
    (void)context;
    doubts[doubtful->why]++;
    return true;
}

static void check(const char *directory) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_READ);
    memset(doubts, 0, sizeof doubts);
    if (!up_catalogue_check(catalogue, count_doubt, NULL, &failure)) {
        fail_msg("%s: %s", directory, failure.text);
    }
    up_catalogue_close(catalogue);
}

/* Names in a folder that hold a word. */
static unsigned count_names(const char *directory, const char *word) {
    DIR *stream = opendir(directory);
    const struct dirent *entry;
    unsigned count = 0;
    assert_non_null(stream);
    while ((entry = readdir(stream)) != NULL) {
        count += strstr(entry->d_name, word) != NULL;
    }
    closedir(stream);
    return count;
}

/* Items, of each two versions, a run with its files, and a private text. */
static void fill(const char *directory, int items) {
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    struct up_run *run = NULL;
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    for (int i = 0; i < items; i++) {
        UP_FREED char *name = up_text_format("fin %d", i);
        struct up_item item = add_item(catalogue, name);
        snprintf(item.note, sizeof item.note, "note %d", i);
        assert_true(up_item_add(catalogue, &item, &failure));
        assert_true(i > 0 || up_item_set_owner(catalogue, item.id, "Anna", &failure));
    }
    json_auto_t *about =
        json_pack("{s:s, s:s, s:s}", "what", "measure", "version", "0", "rig_sha256", "0");
    assert_true(up_run_open(catalogue, "bench", about, run_id, &run, &failure));
    up_run_bytes(run, "+0012.5 kg\n", 11);
    assert_true(up_run_end(run, "completed", NULL, &failure));
    up_run_close(run);
    up_catalogue_close(catalogue);
}

static struct up_backup back_up(const char *from, const char *to) {
    struct up_failure failure = {0};
    struct up_backup backup;
    struct up_catalogue *catalogue = open_as(from, UP_CATALOGUE_READ);
    if (!up_backup(catalogue, to, &backup, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return backup;
}

static char *all_rows(const char *directory) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    sqlite3 *database = outside(path);
    char *records = ask(database, "SELECT group_concat(id || sha256 || body) FROM"
                                  " (SELECT * FROM record ORDER BY id, sha256)");
    char *rest = ask(database, "SELECT (SELECT group_concat(envelope || signature) FROM signed) ||"
                               " (SELECT group_concat(body) FROM private)");
    char *both = up_text_format("%s%s", records, rest);
    sqlite3_close(database);
    free(records);
    free(rest);
    return both;
}

static void a_backup_has_all(void **state) {
    (void)state;
    fill("c", 5);
    assert_int_equal(symlink("/etc/passwd", "c/runs/link"), 0);
    struct up_backup backup = back_up("c", "b/");
    assert_int_equal(backup.records, 13); /* the writer's own and the run's two */
    assert_int_equal(backup.files, 2);
    assert_int_equal(backup.skipped, 1);
    assert_int_equal(backup.damaged, 0);
    UP_FREED char *is = all_rows("b"), *wanted = all_rows("c");
    assert_string_equal(is, wanted);
    assert_int_equal(system("diff -r --no-dereference -x link c/runs b/runs"), 0);
    assert_int_equal(count_names("b", "catalogue.sqlite"), 1); /* no log, no journal */
    check("b");
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
}

/* As another place: who writes there is another writer, which succeeds the first. */
static void it_is_another_place(void **state) {
    (void)state;
    char here[UP_SHA256_SIZE], there[UP_SHA256_SIZE];
    fill("c", 1);
    back_up("c", "b");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    struct up_catalogue *copy = open_as("b", UP_CATALOGUE_WRITE);
    catalogue_place(catalogue, here);
    catalogue_place(copy, there);
    assert_string_not_equal(here, there);
    add_item(copy, "in the copy");
    add_item(catalogue, "in the first");
    up_catalogue_close(copy);
    up_catalogue_close(catalogue);
    assert_file_answer("b/catalogue.sqlite", "SELECT count(*) FROM writer", "2");
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM writer", "1");
    check("b");
    assert_int_equal(doubts[UP_RECORD_FORKED], 0);
}

static void what_is_there_is_not_touched(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_backup backup;
    fill("c", 1);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_int_equal(mkdir("b", 0755), 0);
    assert_false(up_backup(catalogue, "b", &backup, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "b already exists");
    assert_false(up_backup(catalogue, "no/such/b", &backup, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "no/such/b cannot be written");
    assert_int_equal(count_names(".", ".part-"), 0);
    up_catalogue_close(catalogue);
}

/* A file that cannot be read fails it as a whole. */
static bool fails_without_a_file(void) {
    struct up_backup backup;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    return up_catalogue_open("c", UP_CATALOGUE_READ, &catalogue, &failure) &&
           !up_backup(catalogue, "open/b", &backup, &failure) && access("open/b", F_OK) != 0 &&
           count_names("open", "part") == 0;
}

static void it_is_whole_or_not_there(void **state) {
    (void)state;
    fill("c", 1);
    assert_int_equal(mkdir("open", 0777), 0);
    assert_int_equal(chmod("open", 0777), 0);
    assert_int_equal(system("chmod -R a+rX c && chmod 000 c/runs/*/journal.jsonl"), 0);
    assert_true(as_nobody(fails_without_a_file));
}

/* Of records that are damaged already the copy is the same, and it is told. */
static void damage_is_told(void **state) {
    (void)state;
    fill("c", 3);
    sqlite3 *database = outside("c/catalogue.sqlite");
    without_triggers(database, "UPDATE record SET body = replace(body, 'note 1', 'note 7')");
    sqlite3_close(database);
    assert_int_equal(back_up("c", "b").damaged, 1);
}

/* ---- while others write ---- */

static void add_for_ever(void) {
    struct up_catalogue *catalogue = NULL;
    bool good = up_catalogue_open("c", UP_CATALOGUE_WRITE, &catalogue, NULL);
    for (int i = 0; good; i++) {
        struct up_item item = plain_item("busy");
        good = up_item_add(catalogue, &item, NULL);
    }
    _exit(1);
}

static void wait_for_more_than(unsigned long records) {
    const struct timespec pause = {.tv_nsec = 10000000};
    sqlite3 *database = outside("c/catalogue.sqlite");
    unsigned long there = 0;
    for (int i = 0; i < 3000 && there <= records; i++) {
        UP_FREED char *count = ask(database, "SELECT count(*) FROM record");
        there = strtoul(count, NULL, 10);
        nanosleep(&pause, NULL);
    }
    sqlite3_close(database);
    assert_true(there > records);
}

static void others_may_write_meanwhile(void **state) {
    enum { ROUNDS = 3 };
    (void)state;
    fill("c", 20);
    fflush(NULL);
    pid_t child = fork();
    if (child == 0) {
        add_for_ever();
    }
    unsigned long before = 0;
    for (int i = 0; i < ROUNDS; i++) {
        UP_FREED char *to = up_text_format("b%d", i);
        wait_for_more_than(before);
        struct up_backup backup = back_up("c", to);
        assert_true(backup.records > before);
        before = backup.records;
        check(to);
        assert_int_equal(doubts[UP_RECORD_DAMAGED] + doubts[UP_RECORD_AFTER_GAP], 0);
    }
    assert_int_equal(waitpid(child, NULL, WNOHANG), 0); /* it was not stopped */
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    check("c");
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
}

/* Killed anywhere it leaves a backup or none; the next one clears away. */
static void killed_anywhere_it_leaves_none(void **state) {
    enum { ROUNDS = 8 };
    (void)state;
    srand(7);
    fill("c", 20);
    unsigned whole = 0;
    for (int i = 0; i < ROUNDS; i++) {
        struct timespec pause = {.tv_nsec = (rand() % 150) * 1000000L};
        fflush(NULL);
        pid_t child = fork();
        if (child == 0) {
            back_up("c", "b");
            _exit(0);
        }
        nanosleep(&pause, NULL);
        kill(child, SIGKILL);
        waitpid(child, NULL, 0);
        if (access("b", F_OK) == 0) {
            whole++;
            check("b");
            assert_int_equal(doubts[UP_RECORD_DAMAGED] + doubts[UP_RECORD_AFTER_GAP], 0);
            assert_int_equal(system("diff -r c/runs b/runs && rm -r b"), 0);
        }
        assert_true(count_names(".", ".part-") <= 1);
        check("c");
        assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
    }
    back_up("c", "b");
    assert_int_equal(count_names(".", ".part-"), 0);
    print_message("%u of %d were whole\n", whole, ROUNDS);
}

static void make_part(const char *name, bool ours) {
    UP_FREED char *mark = up_text_format("%s/%s", name, ours ? ".part-of-a-copy" : "precious");
    assert_int_equal(mkdir(name, 0700), 0);
    write_all(mark, "");
}

/* One that another program is making is let alone, and a folder of somebody else's. */
static void one_under_way_is_let_alone(void **state) {
    (void)state;
    fill("c", 1);
    make_part("b.part-abcdef", true);
    make_part("b.part-ghijkl", true);
    make_part("b.part-longer-name", true);
    make_part("b.part-nobody", false);
    int lock = catalogue_lock_directory("b.part-abcdef", NULL);
    assert_true(lock >= 0);
    back_up("c", "b");
    assert_int_equal(access("b.part-abcdef", F_OK), 0);
    assert_int_not_equal(access("b.part-ghijkl", F_OK), 0);
    assert_int_equal(access("b.part-longer-name", F_OK), 0);
    assert_int_equal(access("b.part-nobody/precious", F_OK), 0);
    assert_int_not_equal(access("b/.part-of-a-copy", F_OK), 0);
    close(lock);
}

/* ---- salvage ---- */

struct lost {
    unsigned count;
};

static void count_lost(const char *id, const char *kind, const char *made_utc, const char *why,
                       void *context) {
    (void)id, (void)kind, (void)made_utc, (void)why;
    ((struct lost *)context)->count++;
}

static bool save(const char *from, const char *to, struct up_salvage *found,
                 struct up_failure *failure) {
    struct lost lost = {0};
    bool good = up_salvage(from, to, found, count_lost, &lost, failure);
    assert_int_equal(lost.count, found->damaged + found->missing);
    return good;
}

/* The file alone, as its last writer left it, in memory. */
static char *read_file(size_t *length) {
    struct up_failure failure = {0};
    char *bytes =
        up_text_read_file("c/catalogue.sqlite", UP_LINKS_REFUSED, 64 << 20, length, &failure);
    assert_non_null(bytes);
    return bytes;
}

static void write_damaged(const char *bytes, size_t length) {
    FILE *stream = fopen("d/catalogue.sqlite", "wb");
    assert_non_null(stream);
    assert_int_equal(fwrite(bytes, 1, length, stream), length);
    assert_int_equal(fclose(stream), 0);
}

static void a_sound_one_is_saved_whole(void **state) {
    (void)state;
    struct up_salvage found;
    fill("c", 10);
    assert_true(save("c", "s", &found, NULL));
    assert_int_equal(found.records, 23);
    assert_int_equal(found.damaged + found.missing + found.undetailed + found.unreadable, 0);
    assert_int_equal(found.files, 2);
    UP_FREED char *is = all_rows("s"), *wanted = all_rows("c");
    assert_string_equal(is, wanted);
    assert_file_answer("s/catalogue.sqlite", "SELECT name FROM item ORDER BY made_utc LIMIT 1",
                       "fin 0");
    struct up_catalogue *saved = open_as("s", UP_CATALOGUE_WRITE);
    struct up_item item;
    assert_true(up_item_find(saved, "fin 0", &item, NULL));
    assert_false(item.elsewhere);
    assert_string_equal(item.note, "note 0");
    up_catalogue_close(saved);
}

/* What is only in its log yet, too. */
static void its_log_is_read(void **state) {
    enum { ITEMS = 90 };
    (void)state;
    struct up_salvage found;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(catalogue_run(catalogue, "PRAGMA wal_autocheckpoint = 0", NULL));
    assert_true(catalogue_begin(catalogue, NULL));
    for (int i = 0; i < ITEMS; i++) {
        add_item(catalogue, "fin");
    }
    assert_true(catalogue_end(catalogue, true, NULL));
    assert_true(save("c", "s", &found, NULL));
    assert_int_equal(found.records, ITEMS + 1);
    up_catalogue_close(catalogue);
}

/* Each record is what was stored, or is not there; and what is lost is told. */
static void of_a_damaged_one_what_is_sound(void **state) {
    enum { ROUNDS = 15 };
    (void)state;
    size_t length = 0;
    unsigned long saved = 0, whole = 0;
    srand(11);
    fill("c", 20);
    UP_FREED char *sound = read_file(&length);
    sqlite3 *original = outside("c/catalogue.sqlite");
    assert_int_equal(mkdir("d", 0755), 0);
    for (int i = 0; i < ROUNDS; i++) {
        struct up_failure failure = {0};
        struct up_salvage found;
        UP_FREED char *bytes = up_allocate(length, 1);
        memcpy(bytes, sound, length);
        int flips = i % 3 == 0 ? 1 : 60;
        for (int j = 0; i % 3 != 2 && j < flips; j++) {
            bytes[100 + (size_t)rand() % (length - 100)] ^= (char)(1 << rand() % 8);
        }
        write_damaged(bytes, i % 3 == 2 ? length / 2 + (size_t)rand() % (length / 2) : length);
        if (!save("d", "s", &found, &failure)) {
            assert_says(&failure, UP_STATUS_WRONG_INPUT, "can be read as a catalogue");
            continue;
        }
        sqlite3_stmt *statement = NULL;
        assert_int_equal(sqlite3_prepare_v2(original, "ATTACH 's/catalogue.sqlite' AS saved", -1,
                                            &statement, NULL),
                         SQLITE_OK);
        assert_int_equal(sqlite3_step(statement), SQLITE_DONE);
        sqlite3_finalize(statement);
        assert_answer(original,
                      "SELECT count(*) FROM saved.record AS s WHERE NOT EXISTS (SELECT 1 FROM"
                      " main.record AS r WHERE r.id = s.id AND r.sha256 = s.sha256"
                      " AND r.body = s.body)",
                      "0");
        sql(original, "DETACH saved");
        check("s");
        assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
        assert_true(found.records + found.damaged + found.missing >= 43 || found.unreadable);
        saved += found.records;
        whole++;
        assert_int_equal(system("rm -r s"), 0);
    }
    sqlite3_close(original);
    print_message("%lu of %lu records saved of %lu files\n", saved, 43 * whole, whole);
    assert_true(whole > ROUNDS / 2 && saved > 43 * whole / 4);
}

/* A flipped bit costs the one record, and a detail only itself. */
static void one_byte_costs_one_record(void **state) {
    (void)state;
    struct up_salvage found;
    fill("c", 3);
    sqlite3 *database = outside("c/catalogue.sqlite");
    without_triggers(database, "UPDATE record SET body = replace(body, 'note 1', 'note 7')");
    sqlite3_close(database);
    assert_true(save("c", "s", &found, NULL));
    assert_int_equal(found.records, 8);
    assert_int_equal(found.damaged, 1);
    assert_int_equal(found.missing, 0);
    check("s");
    assert_int_equal(doubts[UP_RECORD_AFTER_GAP], 1);
    assert_int_equal(system("rm -r s"), 0);
    database = outside("c/catalogue.sqlite");
    without_triggers(
        database, "UPDATE signed SET signature = (SELECT signature FROM signed WHERE sequence = 4)"
                  " WHERE sequence = 3");
    sqlite3_close(database);
    assert_true(save("c", "s", &found, NULL));
    assert_int_equal(found.records, 7);
    assert_int_equal(found.damaged, 2);
    /* No other catalogue would take it in, but it is what was stored. */
    struct up_catalogue *catalogue = open_as("e", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    struct up_item item = plain_item("fin");
    json_auto_t *content = up_item_to_json(&item);
    json_object_set_new(content, "more", json_integer(3));
    assert_true(up_catalogue_add(catalogue, "item", NULL, NULL, content, NULL, NULL, NULL));
    up_catalogue_close(catalogue);
    database = outside("e/catalogue.sqlite");
    without_triggers(database, "UPDATE detail SET body = replace(body, '3', '4')");
    sqlite3_close(database);
    assert_true(save("e", "s2", &found, NULL));
    assert_int_equal(found.damaged, 0);
    assert_int_equal(found.undetailed, 1);
    assert_int_equal(found.records, 3);
}

static void what_was_taken_away_stays_away(void **state) {
    (void)state;
    struct up_salvage found;
    struct up_redaction redaction = {true, true, "it names Anna"};
    struct up_redacted redacted;
    fill("c", 2);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    char *id = ask(catalogue->database,
                   "SELECT id FROM record WHERE kind = 'item' ORDER BY rowid DESC LIMIT 1");
    assert_true(up_redact(catalogue, id, &redaction, &redacted, NULL));
    assert_int_equal(redacted.versions, 1);
    free(id);
    up_catalogue_close(catalogue);
    assert_true(save("c", "s", &found, NULL));
    assert_int_equal(found.damaged + found.missing, 0);
    check("s");
    assert_int_equal(doubts[UP_RECORD_REDACTED], 1);
    assert_int_equal(doubts[UP_RECORD_DAMAGED] + doubts[UP_RECORD_AFTER_GAP], 0);
    back_up("c", "b");
    check("b");
    assert_int_equal(doubts[UP_RECORD_REDACTED], 1);
}

/* Records from before there were signatures, by their hash alone. */
static void an_older_one_is_saved(void **state) {
    (void)state;
    struct up_salvage found;
    catalogue_signs = false;
    fill("c", 3);
    assert_true(save("c", "s", &found, NULL));
    assert_int_equal(found.records, 8);
    assert_int_equal(found.damaged, 0);
    UP_FREED char *is = all_rows("s"), *wanted = all_rows("c");
    assert_string_equal(is, wanted);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_backup_has_all),
        TEST(it_is_another_place),
        TEST(what_is_there_is_not_touched),
        TEST(it_is_whole_or_not_there),
        TEST(damage_is_told),
        TEST(others_may_write_meanwhile),
        TEST(killed_anywhere_it_leaves_none),
        TEST(one_under_way_is_let_alone),
        TEST(a_sound_one_is_saved_whole),
        TEST(its_log_is_read),
        TEST(of_a_damaged_one_what_is_sound),
        TEST(one_byte_costs_one_record),
        TEST(what_was_taken_away_stays_away),
        TEST(an_older_one_is_saved),
    };
    return cmocka_run_group_tests_name("backup", tests, NULL, NULL);
}
