/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "signing/signing.h"
#include "text/text.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define A64          "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
#define B64          "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb"
#define C64          "cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc"
#define D64          "dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd"
#define ID_1         "11111111-1111-4111-8111-111111111111"
#define ID_2         "22222222-2222-4222-8222-222222222222"
#define ID_3         "33333333-3333-4333-8333-333333333333"

/* By hand: an invented record. */
static const char whole[] =
    "{\"bench\":\"tank\",\"detail\":\"" D64 "\",\"facts\":\"" C64 "\",\"format\":2,\"id\":\"" ID_1
    "\",\"kind\":\"gear_kind\",\"made_utc\":\"2026-01-31T12:00:00.000Z\",\"previous\":\"" B64
    "\",\"replaces\":[\"" ID_2 "\",\"" ID_3 "\"],\"sequence\":4503599627370496,\"subject\":\"" ID_2
    "\",\"writer\":\"" A64 "\"}";
static const char first[] =
    "{\"bench\":\"\",\"detail\":null,\"facts\":\"" C64 "\",\"format\":2,\"id\":\"" ID_1
    "\",\"kind\":\"item\",\"made_utc\":\"2026-01-31T12:00:00.000Z\",\"previous\":null,"
    "\"replaces\":[],\"sequence\":1,\"subject\":\"" ID_1 "\",\"writer\":\"" A64 "\"}";

static struct up_envelope read_good(const char *text) {
    struct up_envelope envelope;
    char fault[UP_FAULT_SIZE] = "x";
    if (!up_envelope_read(text, &envelope, fault)) {
        fail_msg("%s: %s", fault, text);
    }
    assert_string_equal(fault, "");
    return envelope;
}

static void test_members(void **state) {
    (void)state;
    struct up_envelope envelope = read_good(whole);
    assert_string_equal(envelope.id, ID_1);
    assert_string_equal(envelope.kind, "gear_kind");
    assert_string_equal(envelope.subject, ID_2);
    assert_string_equal(envelope.bench, "tank");
    assert_string_equal(envelope.made_utc, "2026-01-31T12:00:00.000Z");
    assert_string_equal(envelope.writer, A64);
    assert_true(envelope.sequence == 1LL << 52);
    assert_string_equal(envelope.previous, B64);
    assert_string_equal(envelope.facts, C64);
    assert_string_equal(envelope.detail, D64);
    assert_int_equal(json_array_size(envelope.replaces), 2);
    assert_string_equal(json_string_value(json_array_get(envelope.replaces, 1)), ID_3);
    json_decref(envelope.replaces);
}

static void test_written_as_read(void **state) {
    (void)state;
    const char *const text[] = {whole, first};
    for (size_t i = 0; i < COUNT(text); i++) {
        struct up_envelope envelope = read_good(text[i]);
        UP_FREED char *again = up_envelope_write(&envelope);
        json_decref(envelope.replaces);
        assert_string_equal(again, text[i]);
    }
}

/* The text with one part changed; freed by the caller. */
static char *changed(const char *text, const char *from, const char *to) {
    const char *at = strstr(text, from);
    assert_non_null(at);
    return up_text_format("%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
}

static void assert_refused(const char *text, const char *why) {
    struct up_envelope envelope;
    char fault[UP_FAULT_SIZE] = "";
    memset(&envelope, 'x', sizeof envelope);
    assert_false(up_envelope_read(text, &envelope, fault));
    assert_string_equal(fault, why);
    assert_string_equal(envelope.id, "");
    assert_null(envelope.replaces);
}

static void test_refused(void **state) {
    (void)state;
    static const char members[] = "it has not just the members of format 2",
                      form[] = "it is not JSON in its canonical form (RFC 8785)",
                      uuid_[] = "is not a UUID in lower case";
    const struct {
        const char *from, *to, *member, *why;
    } row[] = {
        {"{\"bench\"", "{ \"bench\"", NULL, form},
        {"\"writer\":\"" A64 "\"}", "\"writer\":\"" A64 "\"}\n", NULL, form},
        {"\"tank\"", "\"\\u0074ank\"", NULL, form},
        {"\"format\":2", "\"format\":2.0", NULL, form},
        {"\"format\":2", "\"format\":2,\"format\":2", NULL, form},
        {"\"format\":2", "\"format\":3", NULL, members},
        {"\"format\":2", "\"format\":\"2\"", NULL, members},
        {"\"format\":2,", "", NULL, members},
        {"\"format\":2,", "\"for\":2,", NULL, members},
        {"\"writer\":\"" A64 "\"", "\"writer\":\"" A64 "\",\"x\":1", NULL, members},
        {"{\"bench\"", "{\"aench\":1,\"bench\"", NULL, members},
        {"\"id\"", "\"ie\"", "id", uuid_},
        {ID_1, "11111111-1111-4111-8111-11111111111A", "id", uuid_},
        {ID_1, "11111111-1111-4111-8111-1111111111111", "id", uuid_},
        {"\"subject\":\"" ID_2 "\"", "\"subject\":null", "subject", uuid_},
        {"\"gear_kind\"", "\"\"", "kind", "is not the name of a kind"},
        {"\"gear_kind\"", "\"Gear\"", "kind", "is not the name of a kind"},
        {"\"gear_kind\"", "\"_gear\"", "kind", "is not the name of a kind"},
        {"\"gear_kind\"", "\"gear_kind_of_old\"", "kind", "is not the name of a kind"},
        {"\"tank\"", "\"\\u001b[2J\"", "bench", "is not a name without control characters"},
        {"\"tank\"", "7", "bench", "is not a name without control characters"},
        {"\"tank\"", "null", "bench", "is not a name without control characters"},
        {"12:00:00.000Z", "12:00:00Z", "made_utc",
         "is not a time such as 2026-01-31T12:00:00.000Z"},
        {A64, "A" A64, "writer", "is not a key"},
        {"\"" A64 "\"", "null", "writer", "is not a key"},
        {B64, "", "previous", "is not a hash"},
        {C64, "g" C64, "facts", "is not a hash"},
        {"\"" C64 "\"", "null", "facts", "is not a hash"},
        {D64, "", "detail", "is not a hash"},
        {"4503599627370496", "4503599627370497", "sequence", "is not a whole number of 1 to 2^52"},
        {"4503599627370496", "0", "sequence", "is not a whole number of 1 to 2^52"},
        {"4503599627370496", "2.5", "sequence", "is not a whole number of 1 to 2^52"},
        {"4503599627370496", "1", "previous", "stands in a writer's first record"},
        {"\"" B64 "\"", "null", "previous", "is lacking"},
        {"\"" ID_2 "\",\"" ID_3 "\"", "\"" ID_3 "\",\"" ID_2 "\"", "replaces",
         "is not an ascending list of ids"},
        {"\"" ID_2 "\",\"" ID_3 "\"", "\"" ID_2 "\",\"" ID_2 "\"", "replaces",
         "is not an ascending list of ids"},
        {"\"" ID_2 "\",\"" ID_3 "\"", "\"x\"", "replaces", "is not an ascending list of ids"},
        {"\"" ID_2 "\",\"" ID_3 "\"", "1", "replaces", "is not an ascending list of ids"},
        {"[\"" ID_2 "\",\"" ID_3 "\"]", "null", "replaces", "is not an ascending list of ids"},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        UP_FREED char *text = changed(whole, row[i].from, row[i].to);
        UP_FREED char *why = row[i].member != NULL
                                 ? up_text_format("\"%s\" %s", row[i].member, row[i].why)
                                 : up_text_format("%s", row[i].why);
        assert_refused(text, why);
    }
    assert_refused("", form);
    assert_refused("[]", members);
    assert_refused("null", members);
}

static struct up_envelope with_replaces(size_t count) {
    struct up_envelope envelope = read_good(first);
    for (size_t i = 0; i < count; i++) {
        UP_FREED char *id = up_text_format("%08zx-0000-4000-8000-000000000000", i);
        json_array_append_new(envelope.replaces, json_string(id));
    }
    return envelope;
}

static void test_a_thousand_ids(void **state) {
    (void)state;
    struct up_envelope envelope = with_replaces(1000);
    for (size_t i = 0; i < UP_NAME_SIZE - 4; i += 4) { /* the longest bench */
        memcpy(envelope.bench + i, "\xf0\x9f\x90\x9f", 5);
    }
    UP_FREED char *text = up_envelope_write(&envelope);
    json_decref(envelope.replaces);
    assert_non_null(text);
    envelope = read_good(text);
    assert_int_equal(json_array_size(envelope.replaces), 1000);
    json_decref(envelope.replaces);
    envelope = with_replaces(1001);
    assert_null(up_envelope_write(&envelope));
    json_decref(envelope.replaces);
    UP_FREED char *many = up_text_format("%70000s", "");
    assert_refused(many, "it is longer than any envelope");
}

static void test_what_cannot_be_read_is_not_written(void **state) {
    (void)state;
    struct up_envelope envelope = read_good(whole);
    envelope.sequence = 1;
    assert_null(up_envelope_write(&envelope));
    envelope.sequence = 2;
    snprintf(envelope.bench, sizeof envelope.bench, "\xff");
    assert_null(up_envelope_write(&envelope));
    json_decref(envelope.replaces);
}

/* Computed with Python's hashlib over the bytes of the text above. */
/* Whatever the bench is called. */
static void test_detail(void **state) {
    (void)state;
    UP_FREED char *quoting = changed(whole, "tank", "\\\",\\\"detail\\\":null,\\\"");
    UP_FREED char *ending = changed(whole, "tank", "detail\\\":null,");
    json_decref(read_good(quoting).replaces);
    json_decref(read_good(ending).replaces);
    assert_true(up_envelope_has_detail(whole));
    assert_true(up_envelope_has_detail(quoting));
    assert_true(up_envelope_has_detail(ending));
    assert_false(up_envelope_has_detail(first));
}

static void test_hash(void **state) {
    (void)state;
    char hash[UP_SHA256_SIZE], of_bytes[UP_SHA256_SIZE];
    UP_FREED char *all = up_text_format("upthrust-record-2\n%s", first);
    up_envelope_hash(first, hash);
    up_hash_bytes(all, strlen(all), of_bytes);
    assert_string_equal(hash, of_bytes);
    assert_string_equal(hash, "5c2e5ad93a76f0f3e640d33f09f8ccb07a698fe3e32598bbbca28cab0d79eed5");
}

/* Whatever bit of a signed envelope flips: it is refused, or its signature does not hold. */
static void test_each_bit_is_signed(void **state) {
    (void)state;
    const uint8_t seed[UP_SEED_BYTES] = {1};
    struct up_envelope envelope = read_good(whole);
    char hash[UP_SHA256_SIZE], signature[UP_SIGNATURE_SIZE], fault[UP_FAULT_SIZE];
    size_t read = 0;
    up_key_public(seed, envelope.writer);
    UP_FREED char *text = up_envelope_write(&envelope);
    json_decref(envelope.replaces);
    up_envelope_hash(text, hash);
    assert_true(up_sign(seed, hash, signature));
    assert_true(up_signature_holds(envelope.writer, hash, signature));
    for (size_t bit = 0; bit < 8 * strlen(text); bit++) {
        text[bit / 8] = (char)(text[bit / 8] ^ 1 << bit % 8);
        if (up_envelope_read(text, &envelope, fault)) {
            up_envelope_hash(text, hash);
            assert_false(up_signature_holds(envelope.writer, hash, signature));
            json_decref(envelope.replaces);
            read++;
        }
        text[bit / 8] = (char)(text[bit / 8] ^ 1 << bit % 8);
    }
    assert_true(read > 400); /* digits of ids and hashes that are as good as others */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_members),
        cmocka_unit_test(test_written_as_read),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_a_thousand_ids),
        cmocka_unit_test(test_what_cannot_be_read_is_not_written),
        cmocka_unit_test(test_detail),
        cmocka_unit_test(test_hash),
        cmocka_unit_test(test_each_bit_is_signed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
