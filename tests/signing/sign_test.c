/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The published signatures are in tests/reference/. */
#include <ctype.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "signing/signing.h"

/* FIPS 180-4, the examples of SHA-256; the empty text as in NIST CAVP SHA256ShortMsg, Len = 0. */
static void test_hashes(void **state) {
    (void)state;
    char hex[UP_SHA256_SIZE];
    up_hash_bytes("abc", 3, hex);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    up_hash_bytes("abc", 0, hex);
    assert_string_equal(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

static void test_keys_differ(void **state) {
    (void)state;
    uint8_t one[UP_SEED_BYTES] = {0}, other[UP_SEED_BYTES] = {0}, none[UP_SEED_BYTES] = {0};
    char key[UP_KEY_SIZE], other_key[UP_KEY_SIZE];
    assert_true(up_key_make(one) && up_key_make(other));
    assert_memory_not_equal(one, other, sizeof one);
    assert_memory_not_equal(one + 16, none, 16);
    up_key_public(one, key);
    up_key_public(other, other_key);
    assert_string_not_equal(key, other_key);
}

static void test_a_hash_is_signed_as_its_bytes(void **state) {
    (void)state;
    const uint8_t seed[UP_SEED_BYTES] = {7}, other[UP_SEED_BYTES] = {8};
    uint8_t bytes[32];
    char key[UP_KEY_SIZE], other_key[UP_KEY_SIZE], hash[UP_SHA256_SIZE],
        signature[UP_SIGNATURE_SIZE], of_bytes[UP_SIGNATURE_SIZE];
    memset(bytes, 0xa5, sizeof bytes);
    memset(hash, 0, sizeof hash);
    for (size_t i = 0; i < 64; i++) {
        hash[i] = i % 2 == 0 ? 'a' : '5';
    }
    up_key_public(seed, key);
    up_key_public(other, other_key);
    assert_true(up_sign(seed, hash, signature));
    up_sign_bytes(seed, bytes, sizeof bytes, of_bytes);
    assert_string_equal(signature, of_bytes);
    assert_true(up_signature_holds(key, hash, signature));
    assert_false(up_signature_holds(other_key, hash, signature));
}

/* Each letter of key, hash and signature. */
static void test_no_other_letter_will_do(void **state) {
    (void)state;
    const uint8_t seed[UP_SEED_BYTES] = {1, 2, 3};
    char text[3][UP_SIGNATURE_SIZE];
    up_key_public(seed, text[0]);
    up_hash_bytes("x", 1, text[1]);
    assert_true(up_sign(seed, text[1], text[2]));
    for (size_t which = 0; which < 3; which++) {
        for (size_t at = 0; text[which][at] != '\0'; at++) {
            char was = text[which][at];
            text[which][at] = was == 'f' ? '0' : was == '9' ? 'a' : (char)(was + 1);
            assert_false(up_signature_holds(text[0], text[1], text[2]));
            text[which][at] = isalpha((unsigned char)was) ? (char)toupper((unsigned char)was) : ' ';
            assert_false(up_signature_holds(text[0], text[1], text[2]));
            text[which][at] = '\0'; /* too short */
            assert_false(up_signature_holds(text[0], text[1], text[2]));
            text[which][at] = was;
        }
    }
    assert_true(up_signature_holds(text[0], text[1], text[2]));
}

static void test_what_is_no_hash_is_not_signed(void **state) {
    (void)state;
    const uint8_t seed[UP_SEED_BYTES] = {1};
    char hash[UP_SHA256_SIZE + 1], signature[UP_SIGNATURE_SIZE] = "x";
    up_hash_bytes("x", 1, hash);
    assert_false(up_sign(seed, hash + 1, signature));
    assert_string_equal(signature, "");
    strcat(hash, "0");
    assert_false(up_sign(seed, hash, signature));
    assert_false(up_sign(seed, "", signature));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hashes),
        cmocka_unit_test(test_keys_differ),
        cmocka_unit_test(test_a_hash_is_signed_as_its_bytes),
        cmocka_unit_test(test_no_other_letter_will_do),
        cmocka_unit_test(test_what_is_no_hash_is_not_signed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
