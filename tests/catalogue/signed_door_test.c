/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a signed record may say, and what becomes of those that were changed: signed by somebody who
   means harm, damaged on the disk, of kinds that this program does not know. */
#include <gmp.h>
#include <nettle/sha2.h>

#include "signed_records.h"

static void shell(const char *command) {
    if (system(command) != 0) {
        fail_msg("%s", command);
    }
}

static void export(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    if (!up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static struct up_intake merge(const char *into, const char *from) {
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as(into, UP_CATALOGUE_CREATE);
    if (!up_catalogue_merge(catalogue, from, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return intake;
}

static struct up_intake import(const char *into, const char *path) {
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as(into, UP_CATALOGUE_CREATE);
    if (!up_catalogue_import(catalogue, path, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return intake;
}

/* What is wrong with one record keeps no other out of a merge. */
static void assert_not_merged(const char *from, const char *words) {
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as("victim", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_merge(catalogue, from, true, &intake, &failure));
    assert_true(intake.refused > 0);
    if (strstr(intake.refused_why, words) == NULL) {
        fail_msg("refused for \"%s\", not \"%s\"", intake.refused_why, words);
    }
    assert_answer(catalogue->database, "SELECT count(*) FROM record", "0");
    up_catalogue_close(catalogue);
}

static void assert_not_imported(const char *path, const char *words) {
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as("victim", UP_CATALOGUE_CREATE);
    if (up_catalogue_import(catalogue, path, false, &intake, &failure)) {
        fail_msg("imported: %s", words);
    }
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
    assert_answer(catalogue->database, "SELECT count(*) FROM record", "0");
    up_catalogue_close(catalogue);
}

/* Changes the file behind the program's back. */
static void change(const char *directory, const char *text) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    sqlite3 *database = outside(path);
    without_triggers(database, text);
    sqlite3_close(database);
}

static void assert_in(const char *directory, const char *text, const char *wanted) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    assert_file_answer(path, text, wanted);
}

static void add_to(const char *directory, const char *name) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    add_item(catalogue, name);
    up_catalogue_close(catalogue);
}

/* ---- records signed by somebody who means harm ---- */

/* A record of this kind alone in a catalogue `to`, signed by somebody's own key; `facts` and
   `detail` are freed here. */
static void sign_into(const char *to, const char *kind, json_t *facts, json_t *detail,
                      bool undetailed, const char *subject) {
    struct signer signer = {.seed = {7}};
    struct up_record record = {.bench = ""};
    UP_FREED char *facts_text = up_json_canonical(facts);
    UP_FREED char *detail_text = detail != NULL ? up_json_canonical(detail) : NULL;
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.subject, sizeof record.subject, "%s", subject);
    record.facts = facts_text;
    record.detail = undetailed ? NULL : detail_text;
    sign_record(&signer, &record, NULL, undetailed);
    store_signed(to, &record);
    free(signer.envelope);
    json_decref(facts);
    json_decref(detail);
}

static json_t *part_of(const char *directory, const char *sql_text) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    sqlite3 *database = outside(path);
    char *text = ask(database, sql_text);
    sqlite3_close(database);
    json_t *json = up_json_read(text);
    free(text);
    return json;
}

static json_t *facts_of(const char *directory, const char *kind) {
    UP_FREED char *text = up_text_format("SELECT body FROM record WHERE kind = '%s'", kind);
    return part_of(directory, text);
}

static json_t *detail_of(const char *directory, const char *kind) {
    UP_FREED char *text = up_text_format(
        "SELECT detail.body FROM record JOIN detail USING (sha256) WHERE kind = '%s'", kind);
    return part_of(directory, text);
}

static void what_a_kind_cannot_be_is_refused(void **state) {
    (void)state;
    struct up_kind kind = {.name = "fin", .tolerance_one_g = 50, .tolerance_pair_g = 80};
    struct up_reference body = {
        .name = "steel", .mass_kg = {1, 1e-6, 50}, .volume_m3 = {1e-4, 1e-8, 50}};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_failure failure = {0};
    assert_true(up_kind_set(catalogue, &kind, NULL));
    if (!up_reference_add(catalogue, &body, &failure)) {
        fail_msg("%s", failure.text);
    }
    char *subject = ask(catalogue->database, "SELECT subject FROM record WHERE kind = 'gear_kind'");
    up_catalogue_close(catalogue);
    json_t *facts = facts_of("c", "gear_kind");
    json_object_set_new(facts, "tolerance_one_g", json_real(1e4));
    sign_into("tolerance", "gear_kind", facts, NULL, true, subject);
    assert_not_merged("tolerance", "has tolerances that cannot be");
    facts = facts_of("c", "gear_kind"); /* also where detail is said to have been taken away */
    json_object_set_new(facts, "tolerance_one_g", json_real(1e4));
    sign_into("lost", "gear_kind", facts, json_pack("{s:i}", "zone", 1), false, subject);
    change("lost", "DELETE FROM detail");
    assert_not_merged("lost", "has tolerances that cannot be");
    facts = facts_of("c", "reference");
    json_object_set_new(facts, "volume_m3", json_real(1e-6));
    sign_into("volume", "reference", facts, NULL, true, "");
    assert_not_merged("volume", "has a mass and volume");
    sign_into("good", "gear_kind", facts_of("c", "gear_kind"), NULL, true, subject);
    assert_int_equal(merge("other", "good").fresh, 1);
    free(subject);
}

/* Detail that was taken away is one thing, and none that was ever signed another. */
static void what_always_has_detail_was_signed_with_it(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    struct up_calibration calibration = plain_calibration("bench", 1e5);
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_calibration_add(catalogue, &calibration, NULL));
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    up_catalogue_close(catalogue);
    static const char *const kinds[] = {"result", "calibration"};
    for (size_t i = 0; i < ARRAY(kinds); i++) {
        UP_FREED char *bare = up_text_format("bare-%s", kinds[i]);
        UP_FREED char *whole = up_text_format("whole-%s", kinds[i]);
        json_t *facts = facts_of("c", kinds[i]);
        json_object_del(facts, "bench"); /* of no bench here */
        sign_into(bare, kinds[i], json_incref(facts), NULL, true, "");
        if (strcmp(kinds[i], "result") == 0) {
            assert_not_merged(bare, "signed without detail");
            sign_into(whole, kinds[i], json_incref(facts), detail_of("c", kinds[i]), false, "");
            change(whole, "DELETE FROM detail");
            assert_int_equal(merge("other", whole).fresh, 1);
        } else {
            assert_not_merged(bare, "nothing was stored");
        }
        json_decref(facts);
    }
    sign_into("held", "held", json_pack("{s:i}", "records", 1), NULL, true, "");
    assert_not_merged("held", "\"hashes\"");
}

/* Members that an export puts beside a content would take their place there, or be lost. */
static void no_member_is_called_like_what_stands_beside(void **state) {
    (void)state;
    static const char *const names[] = {"id",       "subject",     "sha256", "made_utc",
                                        "replaces", "bench",       "signed", "withdrawn",
                                        "item_id",  "record_kind", "live"};
    add_to("c", "fin");
    for (size_t i = 0; i < ARRAY(names); i++) {
        UP_FREED char *within = up_text_format("\"%s\" stands within its content", names[i]);
        for (int of_detail = 0; of_detail < 2; of_detail++) {
            UP_FREED char *to = up_text_format("%s-%d", names[i], of_detail);
            json_t *facts = facts_of("c", "item"), *detail = json_object();
            json_object_set_new(of_detail ? detail : facts, names[i], json_string("x"));
            sign_into(to, "item", facts, detail, !of_detail, "");
            assert_not_merged(to, within);
        }
    }
    json_t *facts = facts_of("c", "item"); /* that of the record: of no bench */
    json_object_set_new(facts, "bench", json_string(""));
    sign_into("good", "item", facts, NULL, true, "");
    assert_int_equal(merge("other", "good").fresh, 1);
}

/* Each part of a record has a bound before it is read: its values take 80 times the room. */
static void a_large_part_is_not_read(void **state) {
    (void)state;
    enum { MANY = 400000 };
    struct up_failure failure = {0};
    json_t *many = json_array();
    for (int i = 0; i < MANY; i++) {
        json_array_append_new(many, json_object());
    }
    add_to("c", "fin");
    struct signer signer = {.seed = {7}};
    struct up_record record = {.kind = "anecdote"};
    json_auto_t *all = json_pack("{s:o}", "n", many);
    UP_FREED char *text = up_json_canonical(all);
    record.facts = "{\"n\":1}";
    record.detail = text;
    sign_record(&signer, &record, NULL, false);
    json_auto_t *document = json_pack("{s:s, s:[{s:s, s:[]}]}", "schema", "upthrust-catalogue-2",
                                      "passed_on", "record_kind", "anecdote", "replaces");
    json_t *entry = json_array_get(json_object_get(document, "passed_on"), 0);
    put_signed(entry, &record);
    json_object_set_new(json_object_get(entry, "signed"), "detail", json_string(text));
    assert_int_equal(json_dump_file(document, "detail.json", 0), 0);
    assert_not_imported("detail.json", "is larger than a megabyte");
    json_object_set_new(json_object_get(entry, "signed"), "facts", json_string(text));
    assert_int_equal(json_dump_file(document, "facts.json", 0), 0);
    assert_not_imported("facts.json", "facts of at most a megabyte");
    /* Beside the door */
    struct up_catalogue *catalogue = open_as("large", UP_CATALOGUE_CREATE);
    assert_true(catalogue_begin(catalogue, NULL));
    record.detail = "{}";
    assert_true(catalogue_insert(catalogue, &record, NULL, &failure) &&
                catalogue_end(catalogue, true, NULL));
    up_catalogue_close(catalogue);
    UP_FREED char *longer = up_text_format("UPDATE detail SET body = '%s'", text);
    change("large", longer);
    assert_not_merged("large", "is larger than a megabyte");
    free(signer.envelope);
}

/* As any program reads them that has doubles alone; jansson would take one, and refuse the other.
 */
static void a_whole_number_beyond_2_53_is_a_double(void **state) {
    (void)state;
    static const struct {
        double value;
        const char *digits;
    } row[] = {{2e17, "200000000000000000"}, {3e20, "300000000000000000000"}};
    add_to("c", "fin");
    for (size_t i = 0; i < ARRAY(row); i++) {
        UP_FREED char *large = up_text_format("large-%zu", i), *out = up_text_format("out-%zu", i),
                      *merged = up_text_format("merged-%zu", i),
                      *imported = up_text_format("imported-%zu", i),
                      *zone = up_text_format("{\"zone\":%s}", row[i].digits);
        json_t *facts = facts_of("c", "item");
        json_object_set_new(facts, "zeal", json_real(row[i].value));
        sign_into(large, "item", facts, json_pack("{s:f}", "zone", row[i].value), false, "");
        assert_int_equal(merge(merged, large).fresh, 1);
        struct up_catalogue *catalogue = open_as(merged, UP_CATALOGUE_READ);
        export(catalogue, out);
        up_catalogue_close(catalogue);
        assert_int_equal(import(imported, out).fresh, 1);
        assert_in(imported, "SELECT body FROM detail", zone);
    }
    json_auto_t *document = json_load_file("out-0/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, "items"), 0);
    json_object_set_new(entry, "zone", json_integer((1LL << 53) + 1));
    assert_int_equal(json_dump_file(document, "beyond.json", JSON_REAL_PRECISION(17)), 0);
    assert_not_imported("beyond.json", "a whole number in it is beyond 2^53");
}

/* A kind is not cut to one that was signed. */
static void a_longer_kind_is_another(void **state) {
    (void)state;
    struct signer signer = {.seed = {7}};
    struct up_record record = {.kind = "fifteen_letters", .facts = "{\"n\":1}"};
    json_auto_t *document = json_pack("{s:s, s:[{s:s, s:[]}]}", "schema", "upthrust-catalogue-2",
                                      "passed_on", "record_kind", "fifteen_letters", "replaces");
    json_t *entry = json_array_get(json_object_get(document, "passed_on"), 0);
    sign_record(&signer, &record, NULL, true);
    put_signed(entry, &record);
    json_object_set_new(entry, "record_kind", json_string("fifteen_letters_"));
    assert_int_equal(json_dump_file(document, "longer.json", 0), 0);
    assert_not_imported("longer.json", "\"record_kind\" is longer than any kind");
    json_object_set_new(entry, "record_kind", json_string("fifteen_letters"));
    assert_int_equal(json_dump_file(document, "good.json", 0), 0);
    assert_int_equal(import("other", "good.json").fresh, 1);
    free(signer.envelope);
}

/* ---- a signature that does not hold ---- */

#define SPOIL "UPDATE signed SET signature = substr(signature, 2) || 'a' WHERE id IN "

/* One that was set aside keeps none of the others from being given on. */
static void what_was_set_aside_holds_up_nothing(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    add_item(catalogue, "boot");
    UP_FREED char *record_id = ask(catalogue->database, "SELECT id FROM record WHERE"
                                                        " json_extract(body, '$.name') = 'fin'");
    (void)item;
    up_catalogue_close(catalogue);
    change("c", SPOIL "(SELECT id FROM record WHERE json_extract(body, '$.name') = 'fin')");
    assert_not_merged("c", "its signature is not that of its writer");
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(up_catalogue_set_aside(catalogue, record_id, "forged", NULL));
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    assert_int_equal(merge("merged", "c").fresh, 2);
    assert_int_equal(import("imported", "out").fresh, 2);
    assert_in("merged", "SELECT name FROM item", "boot");
    assert_in("imported", "SELECT name FROM item", "boot");
}

static void sign_number(const char *to, const char *kind, const char *id, int number, int key) {
    struct signer signer = {.seed = {(uint8_t)key}};
    struct up_record record = {.bench = ""};
    UP_FREED char *facts = up_text_format("{\"n\":%d}", number);
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.id, sizeof record.id, "%s", id);
    record.facts = facts;
    sign_record(&signer, &record, NULL, true);
    store_signed(to, &record);
    free(signer.envelope);
}

#define SOME_ID "11111111-2222-4333-8444-555555555555"

/* Two contents of one id, of a kind that is not known here: both are given on, but for one whose
   signature does not hold. */
static void contested_unknown_kinds_are_passed_on(void **state) {
    (void)state;
    sign_number("a", "anecdote", SOME_ID, 1, 7);
    sign_number("b", "anecdote", SOME_ID, 2, 8);
    merge("both", "a");
    assert_int_equal(merge("both", "b").contested, 1);
    struct up_catalogue *catalogue = open_as("both", UP_CATALOGUE_READ);
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    import("imported", "out");
    assert_in("imported", "SELECT (SELECT count(*) FROM record) + (SELECT count(*) FROM contested)",
              "2");
    change("both", SPOIL "(SELECT id FROM contested) AND sha256 IN (SELECT sha256 FROM contested)");
    catalogue = open_as("both", UP_CATALOGUE_READ);
    export(catalogue, "spoiled");
    up_catalogue_close(catalogue);
    assert_int_equal(import("one", "spoiled").fresh, 1);
    merge("beside", "both");
    assert_in("beside", "SELECT (SELECT count(*) FROM record) + (SELECT count(*) FROM contested)",
              "1");
}

/* What nobody takes ends no list. */
static void an_unsigned_unknown_kind_ends_no_list(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    catalogue_signs = false;
    add_number(catalogue, "anecdote", NULL, NULL, 1);
    catalogue_signs = true;
    catalogue_clock_step_s++;
    add_number(catalogue, "anecdote", NULL, NULL, 2);
    export(catalogue, "out");
    up_catalogue_close(catalogue);
    json_auto_t *document = json_load_file("out/catalogue.json", 0, NULL);
    assert_int_equal(json_array_size(json_object_get(document, "passed_on")), 1);
}

/* ---- two signatures of one record ---- */

static void number_of(const uint8_t *bytes, size_t count, mpz_t number) {
    mpz_init(number);
    mpz_import(number, count, -1, 1, 0, 0, bytes);
}

static void hash_of(mpz_t number, const uint8_t *a, size_t a_bytes, const uint8_t *b,
                    size_t b_bytes, const uint8_t *c, size_t c_bytes) {
    struct sha512_ctx context;
    uint8_t digest[SHA512_DIGEST_SIZE];
    sha512_init(&context);
    sha512_update(&context, a_bytes, a);
    sha512_update(&context, b_bytes, b);
    sha512_update(&context, c_bytes, c);
    sha512_digest(&context, sizeof digest, digest);
    number_of(digest, sizeof digest, number);
}

/* RFC 8032, 5.1.5: the number of which a key is the multiple. */
static void secret_of(const uint8_t seed[UP_SEED_BYTES], mpz_t secret) {
    struct sha512_ctx context;
    uint8_t digest[SHA512_DIGEST_SIZE];
    sha512_init(&context);
    sha512_update(&context, UP_SEED_BYTES, seed);
    sha512_digest(&context, sizeof digest, digest);
    digest[0] &= 0xf8;
    digest[31] = (uint8_t)((digest[31] & 0x7f) | 0x40);
    number_of(digest, 32, secret);
}

static void bytes_of(const char *hex, size_t count, uint8_t *bytes) {
    for (size_t i = 0; i < count; i++) {
        unsigned byte;
        assert_int_equal(sscanf(hex + 2 * i, "%2x", &byte), 1);
        bytes[i] = (uint8_t)byte;
    }
}

/* RFC 8032, 5.1.6, with another number in its step 2: whoever has the key may choose it. */
static void sign_otherwise(const uint8_t seed[UP_SEED_BYTES], const char *hash, uint8_t chosen,
                           char signature[UP_SIGNATURE_SIZE]) {
    const uint8_t other[UP_SEED_BYTES] = {chosen};
    uint8_t r_bytes[32], key[32], message[32], s_bytes[32] = {0};
    char key_hex[UP_KEY_SIZE], r_hex[UP_KEY_SIZE];
    mpz_t r, a, k, order;
    up_key_public(seed, key_hex);
    up_key_public(other, r_hex);
    bytes_of(key_hex, 32, key);
    bytes_of(r_hex, 32, r_bytes);
    bytes_of(hash, 32, message);
    secret_of(other, r);
    secret_of(seed, a);
    hash_of(k, r_bytes, 32, key, 32, message, 32);
    mpz_init_set_str(order, "27742317777372353535851937790883648493", 10);
    mpz_setbit(order, 252);
    mpz_mul(k, k, a);
    mpz_add(k, k, r);
    mpz_mod(k, k, order);
    mpz_export(s_bytes, NULL, -1, 1, 0, 0, k);
    memcpy(signature, r_hex, 64);
    for (size_t i = 0; i < 32; i++) {
        snprintf(signature + 64 + 2 * i, 3, "%02x", s_bytes[i]);
    }
    mpz_clears(r, a, k, order, NULL);
}

static void signature_in(const char *directory, char signature[UP_SIGNATURE_SIZE]) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    sqlite3 *database = outside(path);
    UP_FREED char *text = ask(database, "SELECT signature FROM signed");
    snprintf(signature, UP_SIGNATURE_SIZE, "%s", text);
    sqlite3_close(database);
}

/* Whichever of two came first, all catalogues give the same; and one that was damaged is mended by
   one that holds. */
static void of_two_signatures_the_smaller_stays(void **state) {
    (void)state;
    const uint8_t seed[UP_SEED_BYTES] = {7};
    char one[UP_SIGNATURE_SIZE], other[UP_SIGNATURE_SIZE], is[UP_SIGNATURE_SIZE];
    sign_number("a", "anecdote", SOME_ID, 1, 7);
    signature_in("a", one);
    shell("cp -r a b");
    sqlite3 *database = outside("a/catalogue.sqlite");
    UP_FREED char *hash = ask(database, "SELECT sha256 FROM signed");
    UP_FREED char *key = ask(database, "SELECT writer FROM signed");
    sqlite3_close(database);
    sign_otherwise(seed, hash, 99, other);
    assert_true(strcmp(one, other) != 0 && up_signature_holds(key, hash, other));
    UP_FREED char *exchange = up_text_format("UPDATE signed SET signature = '%s'", other);
    change("b", exchange);
    const char *smaller = strcmp(one, other) < 0 ? one : other;
    merge("ab", "a");
    merge("ab", "b");
    merge("ba", "b");
    merge("ba", "a");
    signature_in("ab", is);
    assert_string_equal(is, smaller);
    signature_in("ba", is);
    assert_string_equal(is, smaller);
    change("ab", "UPDATE signed SET signature = printf('%0128d', 0)");
    merge("ab", "a");
    signature_in("ab", is);
    assert_string_equal(is, one);
    assert_in("ab", "SELECT count(*) FROM sqlite_master WHERE name = 'signed_kept'", "1");
}

/* Also of one that stands aside, as another has its id. */
static void so_it_does_of_contested_ones(void **state) {
    (void)state;
    const uint8_t seed[UP_SEED_BYTES] = {8};
    char one[UP_SIGNATURE_SIZE], other[UP_SIGNATURE_SIZE];
    sign_number("a", "anecdote", SOME_ID, 1, 7);
    sign_number("b", "anecdote", SOME_ID, 2, 8);
    signature_in("b", one);
    sqlite3 *database = outside("b/catalogue.sqlite");
    UP_FREED char *hash = ask(database, "SELECT sha256 FROM signed");
    sqlite3_close(database);
    shell("cp -r b other");
    sign_otherwise(seed, hash, 99, other);
    UP_FREED char *exchange = up_text_format("UPDATE signed SET signature = '%s'", other);
    change("other", exchange);
    merge("both", "a");
    merge("both", strcmp(one, other) < 0 ? "other" : "b");
    merge("both", strcmp(one, other) < 0 ? "b" : "other");
    UP_FREED char *question =
        up_text_format("SELECT signature FROM signed WHERE sha256 = '%s'", hash);
    assert_in("both", question, strcmp(one, other) < 0 ? one : other);
}

/* ---- the program's own writer ---- */

/* Of what was here unsigned only the list of this folder counts. */
static void the_list_of_a_guest_is_not_ours(void **state) {
    (void)state;
    catalogue_signs = false;
    add_to("guest", "theirs");
    add_to("c", "ours");
    catalogue_signs = true;
    add_to("guest", "signed"); /* lists what was there */
    merge("c", "guest");
    assert_in("c", "SELECT count(*) FROM held", "1");
    add_to("c", "new");
    assert_in("c", "SELECT count(*) FROM held", "2");
    assert_in("c", "SELECT max(records) FROM held", "2");
}

#define BLOCK   "rm -f upthrust/writers/lock && mkdir upthrust/writers/lock"
#define UNBLOCK "rmdir upthrust/writers/lock"

/* Where nothing can be noted, that is tried once; then the program has a key of its own. */
static void a_note_is_tried_once(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "one");
    shell(BLOCK);
    add_item(catalogue, "two");
    shell(UNBLOCK);
    add_item(catalogue, "three");
    add_item(catalogue, "four");
    up_catalogue_close(catalogue);
    assert_in("c",
              "SELECT group_concat(n) FROM (SELECT count(*) AS n FROM signed GROUP BY writer"
              " ORDER BY 1, writer)",
              "3,3");
    add_to("c", "five"); /* by the key of the account again */
    assert_in("c",
              "SELECT group_concat(n) FROM (SELECT count(*) AS n FROM signed GROUP BY writer"
              " ORDER BY 1)",
              "3,4");
}

/* After a backup was put back its key signs no more; where another cannot be kept, the bench goes
   on. */
static void a_backup_and_no_place_for_a_key(void **state) {
    (void)state;
    add_to("c", "before");
    shell("cp c/catalogue.sqlite backup");
    add_to("c", "lost");
    shell("cat backup >c/catalogue.sqlite && rm -f c/catalogue.sqlite-* && " BLOCK);
    add_to("c", "after");
    assert_in("c", "SELECT count(DISTINCT writer) FROM signed", "2");
    assert_in("c", "SELECT count(*) FROM item", "2");
}

static bool add_without_key(void) {
    struct up_item item = plain_item("nobody's");
    struct up_catalogue *catalogue = NULL;
    bool good = up_catalogue_open("c", UP_CATALOGUE_WRITE, &catalogue, NULL) &&
                up_item_add(catalogue, &item, NULL);
    up_catalogue_close(catalogue);
    return good;
}

/* As after sudo: the key or its folder belongs to root. */
static void a_key_that_cannot_be_read_stops_no_bench(void **state) {
    add_to("c", "before");
    UP_FREED char *command = up_text_format("chown -R 65534 '%s'", (const char *)*state);
    shell(geteuid() == 0 ? command : "true");
    shell("chmod 000 upthrust/writers/*.key");
    assert_true(as_nobody(add_without_key));
    shell("chmod 000 upthrust/writers");
    assert_true(as_nobody(add_without_key));
    shell("chmod 700 upthrust/writers");
    assert_in("c", "SELECT count(DISTINCT writer) FROM signed", "3");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(what_a_kind_cannot_be_is_refused),
        TEST(what_always_has_detail_was_signed_with_it),
        TEST(no_member_is_called_like_what_stands_beside),
        TEST(a_large_part_is_not_read),
        TEST(a_whole_number_beyond_2_53_is_a_double),
        TEST(a_longer_kind_is_another),
        TEST(what_was_set_aside_holds_up_nothing),
        TEST(contested_unknown_kinds_are_passed_on),
        TEST(an_unsigned_unknown_kind_ends_no_list),
        TEST(of_two_signatures_the_smaller_stays),
        TEST(so_it_does_of_contested_ones),
        TEST(the_list_of_a_guest_is_not_ours),
        TEST(a_note_is_tried_once),
        TEST(a_backup_and_no_place_for_a_key),
        TEST(a_key_that_cannot_be_read_stops_no_bench),
    };
    return cmocka_run_group_tests_name("catalogue: what signed records may say", tests, NULL, NULL);
}
