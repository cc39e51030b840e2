/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records as their writers signed them: whole chains from one catalogue to another, what was
   changed on the way, copies of a folder, detail that was taken away, kinds of newer programs. */
#include "signed_records.h"

static struct up_intake import(struct up_catalogue *catalogue, const char *path) {
    struct up_intake intake;
    struct up_failure failure = {0};
    if (!up_catalogue_import(catalogue, path, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake;
}

static void shell(const char *command) {
    if (system(command) != 0) {
        fail_msg("%s", command);
    }
}

/* An item, a calibration, a result with its decision: facts with and without detail. */
static struct up_item fill(struct up_catalogue *catalogue, const char *name) {
    struct up_item item = add_item(catalogue, name);
    struct up_calibration calibration = plain_calibration("bench", 1e5);
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_calibration_add(catalogue, &calibration, NULL));
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    return item;
}

static void export(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    if (!up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static unsigned doubts[UP_RECORD_WAITING + 1];
static bool count_doubt(const struct up_doubtful_record *doubtful, void *context) {
    (void)context;
    doubts[doubtful->why]++;
    return true;
}

static void check(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    memset(doubts, 0, sizeof doubts);
    if (!up_catalogue_check(catalogue, count_doubt, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
}

/* ---- who signed what ---- */

static long long last_sequence;
static char last_writer[UP_KEY_SIZE];
static bool note_signer(const struct up_record *record, void *context) {
    ++*(int *)context;
    assert_non_null(record->envelope);
    assert_true(up_signature_holds(record->writer, record->sha256, record->signature));
    last_sequence = record->sequence;
    memcpy(last_writer, record->writer, sizeof last_writer);
    return true;
}

static void every_record_is_signed_in_a_chain(void **state) {
    (void)state;
    int records = 0;
    char writer[UP_KEY_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    assert_true(up_catalogue_each(catalogue, "writer", note_signer, &records, NULL));
    assert_true(records == 1 && last_sequence == 1);
    memcpy(writer, last_writer, sizeof writer);
    assert_true(up_catalogue_each(catalogue, "item", note_signer, &records, NULL));
    assert_int_equal(last_sequence, 2);
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE); /* the same key when it is opened again */
    add_item(catalogue, "another");
    assert_true(up_catalogue_each(catalogue, "item", note_signer, &records, NULL));
    assert_int_equal(last_sequence, 6);
    assert_string_equal(last_writer, writer);
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_FORKED] + doubts[UP_RECORD_AFTER_GAP], 0);
    up_catalogue_close(catalogue);
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM writer", "1");
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) = count(DISTINCT sequence) AND max(sequence) = 6"
                       " AND min(sequence) = 1 FROM signed",
                       "1");
}

/* By a script with other libraries than ours, from the export alone. */
static void another_program_verifies_an_export(void **state) {
    (void)state;
    static const char *const whole[] = {"out/catalogue.json"};
    static const char *const changed[] = {"changed.json"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        fill(catalogue, hostile_names[i].given);
    }
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    int status = run_script(__FILE__, "verify_signed.py", whole, 1);
    if (status == NO_PYTHON) {
        skip();
    }
    assert_int_equal(status, 0);
    shell("sed 's/-123.4567890123/-123.4567890124/' out/catalogue.json >changed.json");
    assert_int_not_equal(run_script(__FILE__, "verify_signed.py", changed, 1), 0);
}

/* ---- changed on the way ---- */

struct change {
    const char *list, *key; /* of the list's first entry; in "signed" where `within` */
    bool within;
    const char *from, *to; /* within the text; NULL: `to` in its place */
    const char *words;
};

static void change_entry(json_t *entry, const struct change *change) {
    json_t *place = change->within ? json_object_get(entry, "signed") : entry;
    const char *text = json_string_value(json_object_get(place, change->key));
    const char *at = text != NULL && change->from != NULL ? strstr(text, change->from) : NULL;
    assert_true(change->from == NULL || at != NULL);
    UP_FREED char *changed = at != NULL ? up_text_format("%.*s%s%s", (int)(at - text), text,
                                                         change->to, at + strlen(change->from))
                                        : up_text_format("%s", change->to);
    json_object_set_new(place, change->key, json_string(changed));
}

static void assert_change_refused(const struct change *change) {
    struct up_failure failure = {0};
    struct up_intake intake;
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    change_entry(json_array_get(json_object_get(document, change->list), 0), change);
    assert_int_equal(json_dump_file(document, "changed.json", JSON_REAL_PRECISION(17)), 0);
    json_decref(document);
    struct up_catalogue *catalogue = open_as("other", UP_CATALOGUE_CREATE);
    if (up_catalogue_import(catalogue, "changed.json", false, &intake, &failure)) {
        fail_msg("taken in: %s, %s", change->key, change->to);
    }
    assert_says(&failure, UP_STATUS_WRONG_INPUT, change->words);
    assert_answer(catalogue->database, "SELECT count(*) FROM record", "0");
    up_catalogue_close(catalogue);
}

/* The last digit of a hash or signature in hexadecimal becomes another one. */
static void a_changed_byte_is_named(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    static const struct change changes[] = {
        {"items", "name", false, "fin", "fun", "members are not those that were signed"},
        {"items", "facts", true, "\"fin\"", "\"fun\"", "members are not those that were signed"},
        {"items", "envelope", true, "\"item\"", "\"otem\"", "not the hash of its env"},
        {"items", "envelope", true, "\"bench\":\"\"", "\"bench\":\"b\"", "not the hash of its env"},
        {"items", "envelope", true, "\"sequence\":2", "\"sequence\":3", "not the hash of its env"},
        {"items", "envelope", true, "\"format\":2", "\"format\":3", "nothing was stored"},
        {"items", "envelope", true, "\"bench\"", " \"bench\"", "nothing was stored"},
        {"items", "signature", true, "", "0", "its signature is not that of its writer"},
        {"items", "id", false, NULL, "11111111-2222-3333-4444-555555555555",
         "says something else of it"},
        {"items", "made_utc", false, "20", "21", "says something else of it"},
        {"results", "method", false, "rule", "role", "not those that were signed"},
        {"results", "bench", false, "bench", "tench", "nothing was stored"},
    };
    for (size_t i = 0; i < ARRAY(changes); i++) {
        assert_change_refused(&changes[i]);
    }
}

/* Facts and detail both changed with the hashes that the envelope has of them, but not signed anew:
   or signed by somebody else, under the old writer's name. */
static void a_signature_is_its_writers(void **state) {
    (void)state;
    uint8_t seed[UP_SEED_BYTES];
    char key[UP_KEY_SIZE], hash[UP_SHA256_SIZE], signature[UP_SIGNATURE_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, "items"), 0);
    const char *sha256 = json_string_value(json_object_get(entry, "sha256"));
    assert_true(up_key_make(seed));
    up_key_public(seed, key);
    memcpy(hash, sha256, sizeof hash);
    assert_true(up_sign(seed, hash, signature));
    json_decref(document);
    struct change change = {"items", "signature", true,
                            NULL,    signature,   "its signature is not that of its writer"};
    assert_change_refused(&change);
}

/* A key introduces itself, and none other. */
static void no_writer_speaks_for_another(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    char key[UP_KEY_SIZE];
    snprintf(key, sizeof key, "%064d", 7);
    json_auto_t *content = json_pack("{s:s, s:n}", "writer", key, "succeeds");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_add(catalogue, "writer", NULL, "", content, NULL, NULL, NULL));
    up_catalogue_close(catalogue);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_merge(other, "c", false, &intake, &failure));
    assert_true(intake.refused == 1 && intake.fresh == 0);
    struct up_catalogue *again = open_as("c", UP_CATALOGUE_READ);
    export(again, "out");
    up_catalogue_close(again);
    assert_false(up_catalogue_import(other, "out", false, &intake, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "\"writer\" is not the key that signed it");
    up_catalogue_close(other);
}

/* As another program signs it: an entry with these facts and this detail by a key of its own. */
static void sign_anew(json_t *entry, const char *kind, const char *facts, const char *detail) {
    struct signer signer = {.seed = {7}};
    struct up_record record = {.facts = facts, .detail = detail};
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    assert_true(catalogue_read_text(entry, "id", record.id, sizeof record.id));
    assert_true(catalogue_read_text(entry, "subject", record.subject, sizeof record.subject));
    assert_true(catalogue_read_text(entry, "made_utc", record.made_utc, sizeof record.made_utc));
    sign_record(&signer, &record, json_object_get(entry, "replaces"), false);
    put_signed(entry, &record);
    free(signer.envelope);
}

/* The first item of an export, its facts with `more` at the end, and this detail. */
static bool import_item_with(struct up_catalogue *catalogue, const char *more, const char *detail,
                             struct up_failure *failure) {
    struct up_intake intake;
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, "items"), 0);
    const char *facts =
        json_string_value(json_object_get(json_object_get(entry, "signed"), "facts"));
    UP_FREED char *longer = up_text_format("%.*s%s}", (int)strlen(facts) - 1, facts, more);
    sign_anew(entry, "item", longer, detail);
    assert_int_equal(json_dump_file(document, "anew.json", JSON_REAL_PRECISION(17)), 0);
    json_decref(document);
    return up_catalogue_import(catalogue, "anew.json", false, &intake, failure);
}

/* A newer program's columns and detail are kept as they were signed; a column that hides in the
   detail, or JSON that has two readings, is not taken. */
static void what_a_newer_program_adds_is_kept(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_false(import_item_with(other, ", \"zeal\":7", NULL, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "its facts are not in the canonical form of JSON");
    assert_false(import_item_with(other, ",\"note\":7", NULL, &failure));
    if (!import_item_with(other, ",\"zeal\":7", "{\"zone\":[1.5]}", &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_answer(other->database,
                  "SELECT json_extract(record.body, '$.zeal') || detail.body FROM"
                  " record JOIN detail USING (sha256) WHERE kind = 'item'",
                  "7{\"zone\":[1.5]}");
    check(other);
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
    up_catalogue_close(other);
}

/* A catalogue whose door was passed: one item, with these facts and this detail. */
static void store_signed_item(const char *directory, const char *facts, const char *detail) {
    struct signer signer = {.seed = {7}};
    struct up_record record = {.kind = "item", .facts = facts, .detail = detail};
    sign_record(&signer, &record, NULL, false);
    store_signed(directory, &record);
    free(signer.envelope);
}

/* A column belongs to the facts, and no member stands in both. */
static void nothing_hides_in_the_detail(void **state) {
    (void)state;
    static const char *const details[] = {"{\"tolerance_g\":70}", "{\"stock_number\":\"A7\"}",
                                          "{\"zeal\":70}"};
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_item item = plain_item("fin");
    json_auto_t *content = up_item_to_json(&item);
    json_object_del(content, "stock_number");
    json_object_set_new(content, "zeal", json_integer(7));
    UP_FREED char *facts = up_json_canonical(content);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(details); i++) {
        char directory[] = {'c', (char)('0' + i), '\0'};
        store_signed_item(directory, facts, details[i]);
        assert_true(up_catalogue_merge(other, directory, false, &intake, &failure));
        assert_true(intake.refused == 1 && intake.fresh == 0);
    }
    store_signed_item("good", facts, "{\"zone\":70}");
    assert_true(up_catalogue_merge(other, "good", false, &intake, NULL) && intake.fresh == 1);
    up_catalogue_close(other);
}

static void budget_is_part_of_what_was_signed(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, "results"), 0);
    json_t *line = json_array_get(json_object_get(entry, "budget"), 0);
    assert_non_null(line);
    json_object_set_new(line, "share_of_variance", json_real(0.5));
    assert_int_equal(json_dump_file(document, "changed.json", JSON_REAL_PRECISION(17)), 0);
    json_decref(document);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_false(up_catalogue_import(other, "changed.json", false, &intake, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "its detail is not what was signed");
    up_catalogue_close(other);
}

/* On the disk: each part in turn. */
static void damage_of_each_part_is_found(void **state) {
    (void)state;
    static const char *const changes[] = {
        "UPDATE record SET body = replace(body, '\"fin\"', '\"fun\"') WHERE kind = 'item'",
        "UPDATE record SET bench = 'tench' WHERE kind = 'result'",
        "UPDATE detail SET body = replace(body, '0.75', '0.76') WHERE sha256 ="
        " (SELECT sha256 FROM record WHERE kind = 'result')",
        "UPDATE signed SET envelope = replace(envelope, '\"result\"', '\"rusult\"')",
        "UPDATE signed SET signature = substr(signature, 2) || 'a' WHERE sequence = 2",
        "UPDATE signed SET sequence = 99 WHERE sequence = 2",
        "UPDATE signed SET writer = replace(writer, substr(writer, 1, 1), 'x') WHERE sequence = 2",
        "DELETE FROM signed WHERE sequence = 2",
        "INSERT INTO replaces SELECT id, '11111111-2222-3333-4444-555555555555' FROM record"
        " WHERE kind = 'item'",
    };
    int count = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
    up_catalogue_close(catalogue);
    for (size_t i = 0; i < ARRAY(changes); i++) {
        shell("rm -rf d && cp -r c d");
        sqlite3 *database = outside("d/catalogue.sqlite");
        without_triggers(database, changes[i]);
        sqlite3_close(database);
        catalogue = open_as("d", UP_CATALOGUE_READ);
        check(catalogue);
        if (doubts[UP_RECORD_DAMAGED] != 1) {
            fail_msg("%s: %u damaged", changes[i], doubts[UP_RECORD_DAMAGED]);
        }
        bool read = up_catalogue_each(catalogue, "item", count_one, &count, NULL) &&
                    up_catalogue_each(catalogue, "result", count_one, &count, NULL);
        if (read != (strstr(changes[i], "signature") != NULL)) { /* verified once, at the door */
            fail_msg("%s: %s", changes[i], read ? "read" : "not read");
        }
        up_catalogue_close(catalogue);
    }
}

/* ---- copies of a folder ---- */

static void assert_merges_whole(const char *a, const char *b, unsigned forked, int items,
                                int writers) {
    struct up_intake intake;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(a, UP_CATALOGUE_WRITE);
    if (!up_catalogue_merge(catalogue, b, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_FORKED], forked);
    assert_int_equal(doubts[UP_RECORD_DAMAGED] + doubts[UP_RECORD_AFTER_GAP], 0);
    assert_int_equal(count_kind(catalogue, "item"), items);
    assert_int_equal(count_kind(catalogue, "writer"), writers);
    up_catalogue_close(catalogue);
}

static void add_to(const char *directory, const char *name) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    add_item(catalogue, name);
    up_catalogue_close(catalogue);
}

/* Each side has a writer of its own from then on, which says whom it succeeds. */
static void a_copied_folder_gets_another_writer(void **state) {
    (void)state;
    add_to("c", "before");
    shell("cp -r c d");
    add_to("c", "here");
    add_to("d", "there");
    assert_merges_whole("c", "d", 0, 3, 2);
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) FROM writer AS n JOIN writer AS o ON n.succeeds = o.writer",
                       "1");
}

/* One that was put back in its place does not sign again under the numbers that were lost. */
static void so_does_one_that_was_put_back(void **state) {
    (void)state;
    add_to("c", "before");
    shell("cp c/catalogue.sqlite backup");
    add_to("c", "lost");
    shell("cp -r c lost && cat backup >c/catalogue.sqlite && rm -f c/catalogue.sqlite-*");
    add_to("c", "after");
    assert_merges_whole("c", "lost", 0, 3, 2);
}

/* Where the home directory was put back, too, nothing here can tell. Merging does, and keeps both
   branches. */
static void one_key_in_two_folders_is_told(void **state) {
    (void)state;
    add_to("c", "before");
    shell("cp c/catalogue.sqlite backup && cp -r upthrust home");
    add_to("c", "left");
    shell("cp -r c left && cat backup >c/catalogue.sqlite && rm -rf c/catalogue.sqlite-* upthrust"
          " && mv home upthrust");
    add_to("c", "right");
    assert_merges_whole("c", "left", 2, 3, 1);
    assert_merges_whole("left", "c", 2, 3, 1);
}

/* A bench goes on where nothing can be kept in the home directory. */
static void without_a_home_each_program_has_a_key(void **state) {
    (void)state;
    char *mine = up_text_format("%s", getenv("XDG_STATE_HOME"));
    assert_int_equal(setenv("XDG_STATE_HOME", "/proc/none", 1), 0);
    add_to("c", "one");
    add_to("c", "two");
    assert_int_equal(setenv("XDG_STATE_HOME", mine, 1), 0);
    free(mine);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_READ);
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_FORKED] + doubts[UP_RECORD_AFTER_GAP], 0);
    assert_int_equal(count_kind(catalogue, "writer"), 2);
    up_catalogue_close(catalogue);
}

/* A key that others may read signs nothing. */
static void a_key_that_is_not_mine_alone_is_refused(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_item item = plain_item("fin");
    add_to("c", "one");
    shell("chmod 644 upthrust/writers/*");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_false(up_item_add(catalogue, &item, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "chmod 600");
    assert_int_equal(count_kind(catalogue, "item"), 1);
    up_catalogue_close(catalogue);
}

static void a_gap_is_told(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_object_set_new(document, "calibrations", json_array());
    assert_int_equal(json_dump_file(document, "part.json", JSON_REAL_PRECISION(17)), 0);
    json_decref(document);
    catalogue = open_as("other", UP_CATALOGUE_CREATE);
    import(catalogue, "part.json");
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_AFTER_GAP], 1);
    import(catalogue, "out");
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_AFTER_GAP], 0);
    up_catalogue_close(catalogue);
}

/* ---- detail that was taken away ---- */

static bool note_budget(const struct up_record *record, void *context) {
    *(size_t *)context = json_array_size(json_object_get(record->content, "budget"));
    return true;
}

static size_t budget_in(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    size_t lines = 0;
    if (!up_catalogue_each(catalogue, "result", note_budget, &lines, &failure)) {
        fail_msg("%s", failure.text);
    }
    return lines;
}

/* What remains proves itself, and is given on; the detail is filled in where it comes later. */
static void a_record_without_its_detail_still_counts(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fill(catalogue, "fin");
    up_catalogue_close(catalogue);
    shell("cp -r c bare");
    sqlite3 *database = outside("bare/catalogue.sqlite");
    without_triggers(database, "DELETE FROM detail");
    sqlite3_close(database);
    catalogue = open_as("bare", UP_CATALOGUE_READ);
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    import(other, "out");
    assert_int_equal(budget_in(other), 0);
    struct up_intake intake;
    assert_true(up_catalogue_merge(other, "bare", false, &intake, NULL) && intake.fresh == 0);
    assert_true(up_catalogue_merge(other, "c", false, &intake, NULL) && intake.fresh == 0);
    assert_true(budget_in(other) > 0);
    check(other);
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
    up_catalogue_close(other);
}

/* ---- kinds of newer programs, records of older ones ---- */

static void an_unknown_kind_is_passed_on(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "sealing", NULL, NULL, 7);
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    struct up_intake intake;
    struct up_catalogue *merged = open_as("merged", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_merge(merged, "c", false, &intake, NULL) && intake.fresh == 2);
    export(merged, "merged-out");
    shell("cmp out/catalogue.json merged-out/catalogue.json");
    up_catalogue_close(merged);
    struct up_catalogue *imported = open_as("imported", UP_CATALOGUE_CREATE);
    assert_int_equal(import(imported, "out").fresh, 2);
    assert_answer(imported->database,
                  "SELECT json_extract(body, '$.n') FROM record"
                  " WHERE kind = 'sealing'",
                  "7");
    check(imported);
    assert_int_equal(doubts[UP_RECORD_DAMAGED] + doubts[UP_RECORD_AFTER_GAP], 0);
    up_catalogue_close(imported);
}

/* What was here unsigned keeps its bytes; the first writer signs that it was held here. */
static void what_was_held_before_is_listed(void **state) {
    (void)state;
    catalogue_signs = false;
    add_to("c", "old");
    add_to("c", "older");
    char *before = NULL;
    sqlite3 *database = outside("c/catalogue.sqlite");
    before = ask(database, "SELECT group_concat(sha256 || body) FROM record");
    char *hashes = ask(database, "SELECT group_concat(sha256 || char(10), '') FROM"
                                 " (SELECT sha256 FROM record ORDER BY sha256)");
    sql(database, "DROP TABLE signed; DROP TABLE detail; PRAGMA user_version = 8");
    sqlite3_close(database);
    catalogue_signs = true;
    add_to("c", "new");
    add_to("c", "newer");
    database = outside("c/catalogue.sqlite");
    assert_answer(database,
                  "SELECT group_concat(r.sha256 || body) FROM record AS r WHERE NOT EXISTS"
                  " (SELECT 1 FROM signed AS s WHERE s.id = r.id)",
                  before);
    assert_answer(database, "SELECT count(*) FROM held", "1");
    assert_answer(database, "SELECT records FROM held", "2");
    assert_answer(database,
                  "SELECT json_extract(detail.body, '$.hashes') FROM held JOIN record ON"
                  " record.id = record_id JOIN detail USING (sha256)",
                  hashes);
    sqlite3_close(database);
    free(hashes);
    free(before);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(every_record_is_signed_in_a_chain),
        TEST(another_program_verifies_an_export),
        TEST(a_changed_byte_is_named),
        TEST(a_signature_is_its_writers),
        TEST(no_writer_speaks_for_another),
        TEST(what_a_newer_program_adds_is_kept),
        TEST(nothing_hides_in_the_detail),
        TEST(budget_is_part_of_what_was_signed),
        TEST(damage_of_each_part_is_found),
        TEST(a_copied_folder_gets_another_writer),
        TEST(so_does_one_that_was_put_back),
        TEST(one_key_in_two_folders_is_told),
        TEST(without_a_home_each_program_has_a_key),
        TEST(a_key_that_is_not_mine_alone_is_refused),
        TEST(a_gap_is_told),
        TEST(a_record_without_its_detail_still_counts),
        TEST(an_unknown_kind_is_passed_on),
        TEST(what_was_held_before_is_listed),
    };
    return cmocka_run_group_tests_name("catalogue: signed", tests, NULL, NULL);
}
