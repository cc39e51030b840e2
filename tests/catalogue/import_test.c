/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Catalogues put together: whatever the order, one outcome; whatever is wrong, nothing is stored.
 */
#include "old_file.h"

static char *read_all(const char *path) {
    char *text = up_allocate(4 << 20, 1);
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    text[fread(text, 1, (4 << 20) - 1, stream)] = '\0';
    fclose(stream);
    return text;
}

static void export_both(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    if (!up_export_csv(catalogue, directory, &failure) ||
        !up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static struct up_intake merge(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    struct up_intake intake = {0};
    if (!up_catalogue_merge(catalogue, directory, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake;
}

static struct up_intake import(struct up_catalogue *catalogue, const char *path) {
    struct up_failure failure = {0};
    struct up_intake intake = {0};
    if (!up_catalogue_import(catalogue, path, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake;
}

static void assert_import_refused(const char *path, const char *words) {
    struct up_failure failure = {0};
    struct up_intake intake = {.fresh = 7, .known = 7};
    struct up_catalogue *catalogue = open_as("victim", UP_CATALOGUE_CREATE);
    char *before = ask(catalogue->database, "SELECT count(*) FROM record");
    assert_false(up_catalogue_import(catalogue, path, false, &intake, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
    assert_int_equal(intake.fresh + intake.known, 0);
    assert_answer(catalogue->database, "SELECT count(*) FROM record", before);
    add_number(catalogue, "run", NULL, NULL, 1); /* no transaction was left open */
    free(before);
    up_catalogue_close(catalogue);
}

/* ---- random histories ---- */

enum { CATALOGUES = 4, STEPS = 30, HISTORIES = 8, ORDERS = 5, ITEMS_MAX = CATALOGUES * STEPS };

static struct up_item known[ITEMS_MAX];
static int items;

static void random_step(struct up_catalogue *catalogue, int number) {
    int what = rand() % 10;
    /* A clock that jumps about, and often stands still, so that ids have to decide. */
    catalogue_clock_step_s = rand() % 3 == 0 ? rand() % 100000 - 50000 : catalogue_clock_step_s;
    if (items == 0 || what < 3) {
        char *name = up_text_format("item %d", number);
        known[items++] = add_item(catalogue, name);
        free(name);
    } else if (what < 7) { /* whether or not this catalogue knows the item yet */
        struct up_item item = known[rand() % items];
        snprintf(item.size, sizeof item.size, "%d", number);
        assert_true(up_item_add(catalogue, &item, NULL));
    } else {
        struct up_result result = plain_result(known[rand() % items].id, "tank");
        assert_true(up_results_add(catalogue, &result, 1, rand() % 2 ? "one" : "two", NULL));
    }
}

static void make_history(char place[CATALOGUES][40], int history) {
    struct up_catalogue *catalogue[CATALOGUES];
    items = 0;
    for (int i = 0; i < CATALOGUES; i++) {
        snprintf(place[i], sizeof place[i], "h%d-%d", history, i);
        catalogue[i] = open_as(place[i], UP_CATALOGUE_CREATE);
    }
    for (int step = 0; step < STEPS; step++) {
        int who = rand() % CATALOGUES, other = rand() % CATALOGUES;
        random_step(catalogue[who], step);
        if (rand() % 6 == 0 && other != who) {
            merge(catalogue[who], place[other]);
        }
    }
    for (int i = 0; i < CATALOGUES; i++) {
        export_both(catalogue[i], place[i]);
        up_catalogue_close(catalogue[i]);
    }
}

static void put_together(char place[CATALOGUES][40], const char *target) {
    int order[CATALOGUES] = {0, 1, 2, 3};
    struct up_catalogue *catalogue = open_as(target, UP_CATALOGUE_CREATE);
    for (int i = CATALOGUES - 1; i > 0; i--) {
        int j = rand() % (i + 1), held = order[i];
        order[i] = order[j];
        order[j] = held;
    }
    for (int i = 0; i < CATALOGUES; i++) {
        if (rand() % 2) {
            merge(catalogue, place[order[i]]);
        } else {
            import(catalogue, place[order[i]]);
        }
    }
    export_both(catalogue, target);
    up_catalogue_close(catalogue);
}

static void assert_same_exports(const char *a, const char *b) {
    static const char *const files[] = {"catalogue.json", "items.csv", "results.csv",
                                        "decisions.csv"};
    for (size_t i = 0; i < ARRAY(files); i++) {
        char *path_a = up_text_format("%s/%s", a, files[i]);
        char *path_b = up_text_format("%s/%s", b, files[i]);
        char *text_a = read_all(path_a), *text_b = read_all(path_b);
        if (strcmp(text_a, text_b) != 0) {
            fail_msg("%s and %s differ", path_a, path_b);
        }
        free(text_a);
        free(text_b);
        free(path_a);
        free(path_b);
    }
}

/* Every record of a document by its id, whatever list it stands in: which version counts hangs on
   what was made here. */
static json_t *records_in(const char *directory) {
    char *path = up_text_format("%s/catalogue.json", directory);
    json_t *document = json_load_file(path, 0, NULL), *records = json_object(), *list, *entry;
    const char *name;
    size_t i;
    free(path);
    assert_non_null(document);
    json_object_foreach(document, name, list) {
        json_array_foreach(list, i, entry) {
            json_object_del(entry, "live");
            json_object_del(entry, "record_kind");
            json_object_set(records, json_string_value(json_object_get(entry, "id")), entry);
        }
    }
    json_decref(document);
    return records;
}

static void assert_same_records(const char *a, const char *b) {
    json_t *of_a = records_in(a), *of_b = records_in(b);
    assert_true(json_object_size(of_a) > 10);
    if (!json_equal(of_a, of_b)) {
        fail_msg("%s and %s hold other records", a, b);
    }
    json_decref(of_a);
    json_decref(of_b);
}

static void any_order_gives_the_same_export(void **state) {
    (void)state;
    char place[CATALOGUES][40];
    srand(11);
    for (int history = 0; history < HISTORIES; history++) {
        char first[40], next[40];
        make_history(place, history);
        snprintf(first, sizeof first, "t%d-0", history);
        put_together(place, first);
        for (int order = 1; order < ORDERS; order++) {
            snprintf(next, sizeof next, "t%d-%d", history, order);
            put_together(place, next);
            assert_same_exports(first, next);
        }
        /* And the sources, once they have all of it. */
        struct up_catalogue *catalogue = open_as(place[0], UP_CATALOGUE_WRITE);
        merge(catalogue, next);
        assert_int_equal(merge(catalogue, first).fresh, 0);
        export_both(catalogue, place[0]);
        up_catalogue_close(catalogue);
        assert_same_records(first, place[0]);
    }
}

/* ---- versions ---- */

static bool keep_size(const struct up_record *record, void *context) {
    char *sizes = context;
    strcat(sizes, json_string_value(json_object_get(record->content, "size")));
    return true;
}

static void changes_made_apart_live_together(void **state) {
    (void)state;
    char sizes[64] = "";
    unsigned long waiting = 0;
    struct up_failure failure = {0};
    struct up_catalogue *one = open_as("one", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(one, "fin");
    struct up_catalogue *two = open_as("two", UP_CATALOGUE_CREATE);
    assert_int_equal(merge(two, "one").fresh, 2); /* and who wrote it */
    snprintf(item.size, sizeof item.size, "A");
    catalogue_clock_step_s = 10;
    assert_true(up_item_add(one, &item, NULL));
    snprintf(item.size, sizeof item.size, "B");
    catalogue_clock_step_s = 20;
    assert_true(up_item_add(two, &item, NULL));
    assert_int_equal(merge(one, "two").fresh, 2);
    assert_true(up_catalogue_each_live(one, "item", item.id, keep_size, sizes, NULL));
    assert_string_equal(sizes, "AB"); /* the current one first: that of here */
    assert_file_answer("one/catalogue.sqlite", "SELECT size FROM item", "A");
    export_both(one, "out");
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *versions = json_object_get(document, "versions");
    assert_int_equal(json_array_size(versions), 2);
    for (size_t i = 0; i < 2; i++) {
        json_t *version = json_array_get(versions, i);
        assert_int_equal(json_is_true(json_object_get(version, "live")),
                         strcmp(json_string_value(json_object_get(version, "size")), "B") == 0);
    }
    json_decref(document);
    /* The next change replaces that of here; the other one waits until it is accepted. */
    snprintf(item.size, sizeof item.size, "C");
    assert_true(up_item_add(one, &item, NULL));
    sizes[0] = '\0';
    assert_true(up_catalogue_each_live(one, "item", item.id, keep_size, sizes, NULL));
    assert_string_equal(sizes, "CB");
    assert_true(up_items_waiting(one, NULL, &waiting, NULL) && waiting == 1);
    assert_true(up_item_accept(one, item.id, &item, NULL));
    assert_string_equal(item.size, "B");
    sizes[0] = '\0';
    assert_true(up_catalogue_each_live(one, "item", item.id, keep_size, sizes, NULL));
    assert_string_equal(sizes, "B");
    assert_true(up_items_waiting(one, NULL, &waiting, NULL) && waiting == 0);
    assert_false(up_item_accept(one, item.id, &item, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "no version from elsewhere waits");
    /* What was accepted says there what is said talready here: nothing waits. */
    merge(two, "one");
    assert_true(up_items_waiting(two, item.id, &waiting, NULL) && waiting == 0);
    up_catalogue_close(one);
    up_catalogue_close(two);
}

static void make_source(void);

/* Once more brings nothing, and says how much was here. */
static void what_is_here_already_is_counted_as_such(void **state) {
    (void)state;
    make_source();
    struct up_catalogue *catalogue = open_as("target", UP_CATALOGUE_CREATE);
    struct up_intake first = import(catalogue, "out"), again = import(catalogue, "out"),
                     merged = merge(catalogue, "source");
    assert_true(first.fresh == 5 && first.known == 0); /* two versions, a result, its decision,
                                                        and who wrote them */
    assert_true(again.fresh == 0 && again.known == 5);
    assert_true(merged.fresh == 0 && merged.known == 5);
    up_catalogue_close(catalogue);
}

/* ---- what is wrong ---- */

static void make_source(void) {
    struct up_catalogue *catalogue = open_as("source", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "a fin");
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    snprintf(item.size, sizeof item.size, "XL");
    assert_true(up_item_add(catalogue, &item, NULL));
    export_both(catalogue, "out");
    up_catalogue_close(catalogue);
}

/* The exported document with one member of a list's first entry changed; NULL removes it. */
static void spoil(const char *list, const char *key, json_t *value) {
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, list), 0);
    assert_non_null(entry);
    json_object_del(entry, "signed");
    if (value != NULL) {
        json_object_set_new(entry, key, value);
    } else {
        json_object_del(entry, key);
    }
    assert_int_equal(json_dump_file(document, "bad.json", JSON_REAL_PRECISION(17)), 0);
    json_decref(document);
}

static void a_spoilt_member_is_named(void **state) {
    (void)state;
    char uuid[UP_ID_SIZE];
    make_source();
    up_new_id(uuid);
    const struct {
        const char *list, *key;
        json_t *value;
        const char *words;
    } cases[] = {
        {"items", "name", NULL, "\"name\" is missing or not a text"},
        {"items", "name", json_string("other"), "does not fit its content"},
        {"items", "name", json_string("line\nbreak"), "\"name\" contains control characters"},
        {"items", "name", json_string(NAME_300 NAME_300 NAME_300 NAME_300), "longer than 327"},
        {"items", "pieces", json_real(1.5), "\"pieces\" is missing or not a whole number"},
        {"items", "pieces", json_integer(99), "\"pieces\" is 99; it must lie within 1 to 12"},
        {"items", "id", json_string("../../../etc/passwd"), "\"id\" is not a UUID"},
        {"items", "id", json_integer(1), "items[0]: \"id\" is missing, not a text or too long"},
        {"items", "id", json_string(NAME_300), "\"id\" is missing, not a text or too long"},
        {"items", "subject", json_string("x"), "\"subject\" is not a UUID"},
        {"items", "subject", json_string(uuid), "does not fit its content"},
        {"items", "sha256", json_string("00"), "\"sha256\" is not a hash"},
        {"items", "made_utc", json_string("yesterday"), "\"made_utc\" is not a time"},
        {"items", "made_utc", json_string("2026-13-01T10:00:00.000Z"), "is not a time"},
        {"items", "live", json_false(), "\"live\" stands within its content"},
        {"items", "record_kind", json_string("item"), "stands within its content"},
        {"items", "made_utc", json_string("2026-01-32T10:00:00.000Z"), "is not a time"},
        {"items", "made_utc", json_string("2026-01-01T24:00:00.000Z"), "is not a time"},
        {"items", "replaces", json_string(uuid), "\"replaces\" is not a list"},
        {"items", "replaces", json_pack("[s, s]", uuid, uuid), "ascending"},
        {"results", "class", json_string("heavy"),
         "\"class\" is not one of positive, neutral, negative, undecided"},
        {"results", "trials", json_integer(-1), "\"trials\" is -1; it must lie within 0"},
        {"items", "tolerance_g", json_real(0), "\"tolerance_g\" is 0 g; it must be above 0"},
        {"results", "basis", json_string("guessed"), "\"basis\""},
        {"results", "buoyancy_g", json_string("=1+1"), "\"buoyancy_g\" is missing or not a number"},
        {"results", "compressible", json_integer(1), "neither true nor false"},
        {"results", "bench", json_string("other"), "does not fit"},
        {"versions", "record_kind", json_string("spell"), "versions[0]: \"record_kind\""},
        {"versions", "record_kind", NULL, "\"record_kind\" is missing"},
    };
    for (size_t i = 0; i < ARRAY(cases); i++) {
        spoil(cases[i].list, cases[i].key, cases[i].value);
        assert_import_refused("bad.json", cases[i].words);
    }
}

static void a_file_that_is_no_document_is_refused(void **state) {
    (void)state;
    static const struct {
        const char *text, *words;
    } cases[] = {
        {"", "bad.json, line 1"},
        {"{\"schema\":", "line 1"},
        {"[]", "is not an export of a catalogue"},
        {"{}", "is not an export of a catalogue"},
        {"{\"schema\":\"upthrust-catalogue-99\"}", "is not an export of a catalogue"},
        {"{\"schema\":\"upthrust-catalogue-1\",\"schema\":\"x\"}", "duplicate"},
        {"{\"schema\":\"upthrust-catalogue-1\",\"items\":7}", "\"items\" is not a list"},
        {"{\"schema\":\"upthrust-catalogue-1\",\"items\":[7]}", "items[0] is not a JSON object"},
        {"{\"schema\":\"upthrust-catalogue-1\",\"items\":[\"\xFF\"]}", "unable to decode byte"},
    };
    for (size_t i = 0; i < ARRAY(cases); i++) {
        write_all("bad.json", cases[i].text);
        assert_import_refused("bad.json", cases[i].words);
    }
    assert_import_refused("none.json", "cannot read none.json");
    assert_import_refused("/dev/zero", "not a file");
    assert_import_refused(".", "cannot read ./catalogue.json");
    assert_int_equal(mkfifo("pipe", 0666), 0);
    assert_import_refused("pipe", "not a file");
    FILE *stream = fopen("large.json", "w");
    assert_int_equal(ftruncate(fileno(stream), 129L << 20), 0);
    fclose(stream);
    assert_import_refused("large.json", "larger than 128 MiB");
    char *deep = up_allocate(200001, 1);
    memset(deep, '[', 200000);
    write_all("deep.json", deep);
    assert_import_refused("deep.json", "deep.json, line 1");
    free(deep);
}

/* Each pair of brackets is three bytes on the disk and a quarter of a kilobyte in memory. */
static void many_small_values_are_not_read(void **state) {
    (void)state;
    const char begin[] = "{\"schema\":\"upthrust-catalogue-1\",\"items\":[{}";
    size_t pairs = 3000000, length = sizeof begin - 1;
    char *text = up_allocate(length + 3 * pairs + 3, 1);
    memcpy(text, begin, length);
    for (size_t i = 0; i < pairs; i++, length += 3) {
        memcpy(text + length, ",{}", 3);
    }
    memcpy(text + length, "]}", 2);
    write_all("many.json", text);
    free(text);
    assert_import_refused("many.json", "more values than fit into memory");
}

/* ---- forgeries ---- */

static void forge(const char *path) {
    sqlite3 *database = outside(path);
    without_triggers(database, "UPDATE record SET body = replace(body, 'a fin', 'a lie')"
                               " WHERE kind = 'item'");
    sqlite3_close(database);
}

static void assert_merge_refused(struct up_catalogue *catalogue, const char *from,
                                 const char *words) {
    struct up_failure failure = {0};
    struct up_intake intake = {0};
    char *before = ask(catalogue->database, "SELECT count(*) FROM record");
    assert_false(up_catalogue_merge(catalogue, from, false, &intake, &failure));
    if (words != NULL) {
        assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
    }
    assert_answer(catalogue->database, "SELECT count(*) FROM record", before);
    free(before);
}

static void a_changed_record_is_refused(void **state) {
    (void)state;
    make_source();
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    forge("source/catalogue.sqlite");
    struct up_intake intake;
    assert_true(up_catalogue_merge(catalogue, "source", false, &intake, NULL));
    assert_true(intake.refused > 0 && intake.fresh > 0);
    assert_answer(catalogue->database, "SELECT count(*) FROM record WHERE body LIKE '%a lie%'",
                  "0");
    up_catalogue_close(catalogue);
}

/* The same id with a good hash of other content: nobody but a forger makes that. */
static void make_forgery(void) {
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, "items"), 0);
    json_object_del(entry, "signed");
    struct up_record record = {.kind = "item", .content = json_deep_copy(entry)};
    static const char *const added[] = {"id",       "subject",  "item_id", "sha256",
                                        "made_utc", "replaces", "bench"};
    for (size_t i = 0; i < ARRAY(added); i++) {
        json_object_del(record.content, added[i]);
    }
    json_object_set_new(record.content, "name", json_string("forged"));
    json_object_set_new(entry, "name", json_string("forged"));
    snprintf(record.subject, sizeof record.subject, "%s",
             json_string_value(json_object_get(entry, "subject")));
    snprintf(record.made_utc, sizeof record.made_utc, "%s",
             json_string_value(json_object_get(entry, "made_utc")));
    assert_true(catalogue_hash(&record, json_object_get(entry, "replaces")));
    json_object_set_new(entry, "sha256", json_string(record.sha256));
    assert_int_equal(json_dump_file(document, "forged.json", JSON_REAL_PRECISION(17)), 0);
    json_decref(record.content);
    json_decref(document);
}

static bool note_contested(const struct up_doubtful_record *doubtful, void *context) {
    *(unsigned *)context += doubtful->why == UP_RECORD_CONTESTED;
    return true;
}

static unsigned contested_in(struct up_catalogue *catalogue) {
    unsigned contested = 0;
    assert_true(up_catalogue_check(catalogue, note_contested, &contested, NULL));
    return contested;
}

static bool note_id(const struct up_record *record, void *context) {
    memcpy(context, record->id, sizeof record->id);
    return true;
}

/* The record that counts for the one item. */
static const char *counts_in(struct up_catalogue *catalogue) {
    static char id[UP_ID_SIZE];
    id[0] = '\0';
    assert_true(up_catalogue_each(catalogue, "item", note_id, id, NULL));
    return id;
}

static void assert_neither_counts(struct up_catalogue *catalogue, const char *before) {
    char *id = ask(catalogue->database, "SELECT id FROM contested");
    assert_string_not_equal(counts_in(catalogue), id);
    assert_string_equal(counts_in(catalogue), before);
    assert_int_equal(contested_in(catalogue), 1);
    free(id);
}

static void two_contents_under_one_id_are_kept_and_neither_counts(void **state) {
    (void)state;
    char before[UP_ID_SIZE];
    struct up_intake intake;
    make_source();
    make_forgery();
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    import(catalogue, "out");
    assert_true(up_catalogue_import(catalogue, "forged.json", false, &intake, NULL));
    assert_true(intake.contested == 1 && intake.undecided == 1);
    snprintf(before, sizeof before, "%s", counts_in(catalogue)); /* the version before it */
    import(other, "forged.json"); /* nobody signed it, and somebody signed the others */
    assert_string_equal(counts_in(other), before);
    assert_true(up_catalogue_merge(other, "source", false, &intake, NULL));
    assert_int_equal(intake.contested, 1);
    for (int again = 0; again < 2; again++) { /* together nothing changes any more */
        assert_neither_counts(catalogue, before);
        assert_neither_counts(other, before);
        assert_true(up_catalogue_merge(other, "c", false, &intake, NULL));
        assert_int_equal(intake.fresh + intake.contested, 0);
        assert_true(up_catalogue_merge(catalogue, "other", false, &intake, NULL));
        assert_int_equal(intake.fresh + intake.contested, 0);
    }
    up_catalogue_close(other);
    /* Both go where its records go, by either way. */
    assert_true(up_export_json(catalogue, "both", NULL));
    struct up_catalogue *third = open_as("third", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_import(third, "both", false, &intake, NULL) && intake.contested == 1);
    assert_neither_counts(third, before);
    up_catalogue_close(third);
    third = open_as("fourth", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_merge(third, "c", false, &intake, NULL) && intake.contested == 1);
    assert_neither_counts(third, before);
    up_catalogue_close(third);
    /* A person decides, and is not asked again. */
    struct up_failure failure = {0};
    char *id = ask(catalogue->database, "SELECT id FROM contested");
    char *forged = ask(catalogue->database, "SELECT id || '/' || sha256 FROM (SELECT id, sha256,"
                                            " body FROM record UNION ALL SELECT id, sha256, body"
                                            " FROM contested) WHERE body LIKE '%forged%'");
    assert_false(up_catalogue_restore(catalogue, id, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "2 contents have the id");
    assert_true(up_catalogue_restore(catalogue, forged, NULL));
    free(forged);
    import(catalogue, "forged.json");
    assert_string_equal(counts_in(catalogue), id);
    free(id);
    up_catalogue_close(catalogue);
}

static bool note_subject(const struct up_record *record, void *context) {
    memcpy(context, record->subject, sizeof record->subject);
    return true;
}

/* Else anybody could hide what was weighed here: it would be of no item that counts. */
static void of_two_contents_that_of_our_own_results_counts(void **state) {
    (void)state;
    char subject[UP_ID_SIZE], before[UP_ID_SIZE];
    struct up_intake intake;
    make_source();
    make_forgery();
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    import(catalogue, "out");
    snprintf(before, sizeof before, "%s", counts_in(catalogue));
    assert_true(up_catalogue_each(catalogue, "item", note_subject, subject, NULL));
    struct up_result result = plain_result(subject, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    assert_true(up_catalogue_import(catalogue, "forged.json", false, &intake, NULL));
    assert_true(intake.contested == 1 && intake.undecided == 0);
    assert_string_equal(counts_in(catalogue), before);
    up_catalogue_close(catalogue);
}

/* Who made it knows; and what is damaged is given to nobody. */
static void of_two_contents_that_of_here_counts(void **state) {
    (void)state;
    struct up_intake intake;
    make_source();
    make_forgery();
    struct up_catalogue *catalogue = open_as("source", UP_CATALOGUE_WRITE);
    char before[UP_ID_SIZE];
    snprintf(before, sizeof before, "%s", counts_in(catalogue));
    assert_true(up_catalogue_import(catalogue, "forged.json", false, &intake, NULL));
    assert_int_equal(intake.contested, 1);
    assert_string_equal(counts_in(catalogue), before);
    assert_answer(catalogue->database, "SELECT count(*) FROM record WHERE body LIKE '%forged%'",
                  "0");
    sql(catalogue->database, "UPDATE contested SET body = replace(body, 'forged', 'forger')");
    assert_true(up_export_json(catalogue, "both", NULL));
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_import(other, "both", false, &intake, NULL));
    assert_true(up_catalogue_merge(other, "source", false, &intake, NULL));
    assert_int_equal(contested_in(other), 0);
    assert_string_equal(counts_in(other), before);
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* Whichever comes first: what names a thing of another kind is taken, and does nothing to it. */
static void nothing_replaces_another_thing(void **state) {
    (void)state;
    char id[UP_ID_SIZE], run[UP_ID_SIZE];
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *one = open_as("one", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(one, "fin");
    json_t *live = up_catalogue_live_ids(one, "item", item.id, NULL);
    snprintf(id, sizeof id, "%s", json_string_value(json_array_get(live, 0)));
    json_decref(live);
    struct up_catalogue *two = open_as("two", UP_CATALOGUE_CREATE);
    json_t *content = json_pack("{s:s, s:s, s:s}", "what", "x", "version", "0", "rig_sha256", "0");
    assert_true(up_catalogue_add(two, "run", NULL, "", content, id, run, &failure));
    json_decref(content);
    assert_true(up_catalogue_merge(one, "two", false, &intake, NULL) && intake.fresh == 2);
    assert_true(up_catalogue_merge(two, "one", false, &intake, NULL) && intake.fresh == 2);
    assert_int_equal(count_kind(one, "item"), 1);
    assert_int_equal(count_kind(two, "item"), 1);
    assert_answer(one->database, "SELECT count(*) FROM live WHERE kind <> 'writer'",
                  "2"); /* nor in the view */
    up_catalogue_close(one);
    up_catalogue_close(two);
}

static void other_files_are_not_merged(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_merge_refused(catalogue, "c", "is the catalogue it would be merged into");
    assert_merge_refused(catalogue, "./c/.", "is the catalogue it would be merged into");
    assert_false(up_catalogue_merge(catalogue, "none", false, &intake, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "there is no catalogue in none");
    assert_int_equal(mkdir("views", 0777), 0);
    sqlite3 *database = outside("views/catalogue.sqlite");
    sql(database, "PRAGMA application_id = 1970295874; PRAGMA user_version = 1;"
                  "CREATE TABLE replaces(new_id, old_id);"
                  "CREATE VIEW record AS WITH RECURSIVE n(id) AS (SELECT 1 UNION ALL SELECT id + 1"
                  " FROM n) SELECT id, '' AS sha256, '' AS kind, '' AS subject, '' AS bench,"
                  " '' AS made_utc, '' AS body, id AS rowid FROM n");
    sqlite3_close(database);
    assert_merge_refused(catalogue, "views", "has not the tables of a catalogue");
    add_number(catalogue, "trial", NULL, NULL, 1);
    up_catalogue_close(catalogue);
}

/* ---- catalogues of before ---- */

/* As the first version of the tables was: fewer views, no counter. */
static void an_old_catalogue_is_brought_up_to_date(void **state) {
    (void)state;
    catalogue_signs = false;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "old fin");
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "DROP VIEW run; DROP VIEW trial; DROP VIEW rig; DROP VIEW decision;"
                  "DROP VIEW plateau; DROP VIEW model; DROP TABLE bench_counter;"
                  "DROP INDEX record_time; DROP INDEX record_hash; DROP TABLE local_mark;"
                  "DROP TABLE contested; DROP TABLE signed; DROP TABLE detail;"
                  "PRAGMA user_version = 1");
    sqlite3_close(database);
    assert_int_equal(chmod("c/catalogue.sqlite", 0640), 0);
    catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_int_equal(count_kind(catalogue, "result"), 1);
    export_both(catalogue, "out");
    assert_answer(catalogue->database, "PRAGMA user_version", "1");
    up_catalogue_close(catalogue);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_int_equal(merge(other, "c").fresh, 3);
    up_catalogue_close(other);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_answer(catalogue->database, "PRAGMA user_version", "10");
    assert_answer(catalogue->database, "SELECT count(*) FROM local_mark WHERE mark = 'kept'", "3");
    add_number(catalogue, "trial", NULL, NULL, 1);
    up_catalogue_close(catalogue);
    assert_old_file_is_kept("c/catalogue.sqlite", "c/catalogue-of-version-1.sqlite");
    database = outside("c/catalogue.sqlite");
    assert_answer(database, "SELECT count(*) FROM decision", "1");
    assert_answer(database, "SELECT count(*) FROM plateau", "0");
    assert_answer(database, "SELECT rejudged FROM decision", "0");
    assert_answer(database, "SELECT bench_sequence FROM result", "1");
    assert_answer(database, "SELECT bench_sequence FROM trial", "3");
    assert_answer(database, "PRAGMA integrity_check", "ok");
    sqlite3_close(database);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(any_order_gives_the_same_export),
        TEST(changes_made_apart_live_together),
        TEST(what_is_here_already_is_counted_as_such),
        TEST(a_spoilt_member_is_named),
        TEST(a_file_that_is_no_document_is_refused),
        TEST(many_small_values_are_not_read),
        TEST(a_changed_record_is_refused),
        TEST(two_contents_under_one_id_are_kept_and_neither_counts),
        TEST(of_two_contents_that_of_here_counts),
        TEST(of_two_contents_that_of_our_own_results_counts),
        TEST(nothing_replaces_another_thing),
        TEST(other_files_are_not_merged),
        TEST(an_old_catalogue_is_brought_up_to_date),
    };
    return cmocka_run_group_tests_name("catalogue: import and merge", tests, NULL, NULL);
}
