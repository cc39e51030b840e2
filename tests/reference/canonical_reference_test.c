/* SPDX-License-Identifier: GPL-3.0-or-later */
/* up_json_canonical against RFC 8785 (JSON Canonicalization Scheme) and its public test data. */
#include <inttypes.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <nettle/base16.h>
#include <nettle/sha2.h>

#include "text/json.h"
#include "text/memory.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static double double_of(uint64_t bits) {
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static char *canonical_number(double value) {
    json_auto_t *json = json_real(value);
    char *text = up_json_canonical(json);
    assert_non_null(text);
    return text;
}

/* RFC 8785 Appendix B, table 1; the last two are sample lines of the test data's README. */
static void test_numbers_of_appendix_b(void **state) {
    (void)state;
    static const struct {
        uint64_t bits;
        const char *text;
    } row[] = {
        {0x0000000000000000, "0"},
        {0x8000000000000000, "0"},
        {0x0000000000000001, "5e-324"},
        {0x8000000000000001, "-5e-324"},
        {0x7fefffffffffffff, "1.7976931348623157e+308"},
        {0xffefffffffffffff, "-1.7976931348623157e+308"},
        {0x4340000000000000, "9007199254740992"},
        {0xc340000000000000, "-9007199254740992"},
        {0x4430000000000000, "295147905179352830000"},
        {0x44b52d02c7e14af5, "9.999999999999997e+22"},
        {0x44b52d02c7e14af6, "1e+23"},
        {0x44b52d02c7e14af7, "1.0000000000000001e+23"},
        {0x444b1ae4d6e2ef4e, "999999999999999700000"},
        {0x444b1ae4d6e2ef4f, "999999999999999900000"},
        {0x444b1ae4d6e2ef50, "1e+21"},
        {0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
        {0x3eb0c6f7a0b5ed8d, "0.000001"},
        {0x41b3de4355555553, "333333333.3333332"},
        {0x41b3de4355555554, "333333333.33333325"},
        {0x41b3de4355555555, "333333333.3333333"},
        {0x41b3de4355555556, "333333333.3333334"},
        {0x41b3de4355555557, "333333333.33333343"},
        {0xbecbf647612f3696, "-0.0000033333333333333333"},
        {0x43143ff3c1cb0959, "1424953923781206.2"},
        {0x4340000000000001, "9007199254740994"},
        {0x4340000000000002, "9007199254740996"},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        UP_FREED char *text = canonical_number(double_of(row[i].bits));
        json_t *json = NULL;
        assert_string_equal(text, row[i].text);
        assert_true(up_json_is_canonical(text, &json));
        assert_true(json_number_value(json) == double_of(row[i].bits));
        json_decref(json);
    }
    /* It must not hold NaN and infinity: nothing here can. */
    assert_null(json_real((double)NAN));
    assert_null(json_real((double)INFINITY));
}

/* github.com/cyberphone/json-canonicalization (by the author of the RFC), testdata/input and
   testdata/outhex; "values" is the example of RFC 8785 3.2.2 to 3.2.4, the last one that of 3.2.3.
 */
static void test_examples(void **state) {
    (void)state;
    static const struct {
        const char *name, *input, *canonical;
    } row[] = {
        {"arrays", "[\n  56,\n  {\n    \"d\": true,\n    \"10\": null,\n    \"1\": [ ]\n  }\n]\n",
         "[56,{\"1\":[],\"10\":null,\"d\":true}]"},
        {"french",
         "{\n  \"peach\": \"This sorting order\",\n  \"p\xc3"
         "\xa9"
         "ch\xc3"
         "\xa9"
         "\": \"is wrong according to French\",\n  \"p\xc3"
         "\xaa"
         "che\": \"but canonicalization MUST\",\n  \"sin\":   \"ignore locale\"\n}\n",
         "{\"peach\":\"This sorting order\",\"p\xc3"
         "\xa9"
         "ch\xc3"
         "\xa9"
         "\":\"is wrong according to French\",\"p\xc3"
         "\xaa"
         "che\":\"but canonicalization MUST\",\"sin\":\"ignore locale\"}"},
        {"structures",
         "{\n  \"1\": {\"f\": {\"f\": \"hi\",\"F\": 5} ,\"\\n\": 56.0},\n  \"10\": { },\n  \"\": "
         "\"empty\",\n  \"a\": { },\n  \"111\": [ {\"e\": \"yes\",\"E\": \"no\" } ],\n  \"A\": { "
         "}\n}",
         "{\"\":\"empty\",\"1\":{\"\\n\":56,\"f\":{\"F\":5,\"f\":\"hi\"}},\"10\":{},\"111\":[{"
         "\"E\":\"no\",\"e\":\"yes\"}],\"A\":{},\"a\":{}}"},
        {"unicode", "{\n  \"Unnormalized Unicode\":\"A\\u030a\"\n}\n",
         "{\"Unnormalized Unicode\":\"A\xcc"
         "\x8a"
         "\"}"},
        {"values",
         "{\n  \"numbers\": [333333333.33333329, 1E30, 4.50, 2e-3, "
         "0.000000000000000000000000001],\n  \"string\": "
         "\"\\u20ac$\\u000F\\u000aA'\\u0042\\u0022\\u005c\\\\\\\"\\/\",\n  \"literals\": [null, "
         "true, false]\n}",
         "{\"literals\":[null,true,false],\"numbers\":[333333333.3333333,1e+30,4.5,0.002,1e-27],"
         "\"string\":\"\xe2"
         "\x82"
         "\xac"
         "$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\"}"},
        {"weird",
         "{\n  \"\\u20ac\": \"Euro Sign\",\n  \"\\r\": \"Carriage Return\",\n  \"\\u000a\": "
         "\"Newline\",\n  \"1\": \"One\",\n  \"\\u0080\": \"Control\\u007f\",\n  "
         "\"\\ud83d\\ude02\": \"Smiley\",\n  \"\\u00f6\": \"Latin Small Letter O With "
         "Diaeresis\",\n  \"\\ufb33\": \"Hebrew Letter Dalet With Dagesh\",\n  \"</script>\": "
         "\"Browser Challenge\"\n}\n",
         "{\"\\n\":\"Newline\",\"\\r\":\"Carriage Return\",\"1\":\"One\",\"</script>\":\"Browser "
         "Challenge\",\"\xc2"
         "\x80"
         "\":\"Control\x7f"
         "\",\"\xc3"
         "\xb6"
         "\":\"Latin Small Letter O With Diaeresis\",\"\xe2"
         "\x82"
         "\xac"
         "\":\"Euro Sign\",\"\xf0"
         "\x9f"
         "\x98"
         "\x82"
         "\":\"Smiley\",\"\xef"
         "\xac"
         "\xb3"
         "\":\"Hebrew Letter Dalet With Dagesh\"}"},
        {"rfc_3_2_3_sort",
         "{\"\\u20ac\":\"Euro Sign\",\"\\r\":\"Carriage Return\",\"\\ufb33\":\"Hebrew Letter Dalet "
         "With Dagesh\",\"1\":\"One\",\"\\ud83d\\ude00\":\"Emoji: Grinning "
         "Face\",\"\\u0080\":\"Control\",\"\\u00f6\":\"Latin Small Letter O With Diaeresis\"}",
         "{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\xc2"
         "\x80"
         "\":\"Control\",\"\xc3"
         "\xb6"
         "\":\"Latin Small Letter O With Diaeresis\",\"\xe2"
         "\x82"
         "\xac"
         "\":\"Euro Sign\",\"\xf0"
         "\x9f"
         "\x98"
         "\x80"
         "\":\"Emoji: Grinning Face\",\"\xef"
         "\xac"
         "\xb3"
         "\":\"Hebrew Letter Dalet With Dagesh\"}"},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        json_t *json = NULL;
        assert_false(up_json_is_canonical(row[i].input, &json));
        UP_FREED char *text = up_json_canonical(json);
        json_decref(json);
        assert_string_equal(text, row[i].canonical);
        assert_true(up_json_is_canonical(text, &json));
        json_decref(json);
    }
}

/* ---- the stream of numbers ---- */

/* The same repository, testdata/README.md: these numbers, then 2,000 from the smallest normal one
   on, then SHA-256 of SHA-256 ..., each read as four doubles, of which zeros and what is not finite
   are passed over. */
static const uint64_t first_bits[] = {
    0x0000000000000000, 0x8000000000000000, 0x0000000000000001, 0x8000000000000001,
    0xc46696695dbd1cc3, 0xc43211ede4974a35, 0xc3fce97ca0f21056, 0xc3c7213080c1a6ac,
    0xc39280f39a348556, 0xc35d9b1f5d20d557, 0xc327af4c4a80aaac, 0xc2f2f2a36ecd5556,
    0xc2be51057e155558, 0xc28840d131aaaaac, 0xc253670dc1555557, 0xc21f0b4935555557,
    0xc1e8d5d42aaaaaac, 0xc1b3de4355555556, 0xc17fca0555555556, 0xc1496e6aaaaaaaab,
    0xc114585555555555, 0xc0e046aaaaaaaaab, 0xc0aa0aaaaaaaaaaa, 0xc074d55555555555,
    0xc040aaaaaaaaaaab, 0xc00aaaaaaaaaaaab, 0xbfd5555555555555, 0xbfa1111111111111,
    0xbf6b4e81b4e81b4f, 0xbf35d867c3ece2a5, 0xbf0179ec9cbd821e, 0xbecbf647612f3696,
    0xbe965e9f80f29212, 0xbe61e54c672874db, 0xbe2ca213d840baf8, 0xbdf6e80fe033c8c6,
    0xbdc2533fe68fd3d2, 0xbd8d51ffd74c861c, 0xbd5774ccac3d3817, 0xbd22c3d6f030f9ac,
    0xbcee0624b3818f79, 0xbcb804ea293472c7, 0xbc833721ba905bd3, 0xbc4ebe9c5db3c61e,
    0xbc18987d17c304e5, 0xbbe3ad30dfcf371d, 0xbbaf7b816618582f, 0xbb792f9ab81379bf,
    0xbb442615600f9499, 0xbb101e77800c76e1, 0xbad9ca58cce0be35, 0xbaa4a1e0a3e6fe90,
    0xba708180831f320d, 0xba3a68cd9e985016, 0x446696695dbd1cc3, 0x443211ede4974a35,
    0x43fce97ca0f21056, 0x43c7213080c1a6ac, 0x439280f39a348556, 0x435d9b1f5d20d557,
    0x4327af4c4a80aaac, 0x42f2f2a36ecd5556, 0x42be51057e155558, 0x428840d131aaaaac,
    0x4253670dc1555557, 0x421f0b4935555557, 0x41e8d5d42aaaaaac, 0x41b3de4355555556,
    0x417fca0555555556, 0x41496e6aaaaaaaab, 0x4114585555555555, 0x40e046aaaaaaaaab,
    0x40aa0aaaaaaaaaaa, 0x4074d55555555555, 0x4040aaaaaaaaaaab, 0x400aaaaaaaaaaaab,
    0x3fd5555555555555, 0x3fa1111111111111, 0x3f6b4e81b4e81b4f, 0x3f35d867c3ece2a5,
    0x3f0179ec9cbd821e, 0x3ecbf647612f3696, 0x3e965e9f80f29212, 0x3e61e54c672874db,
    0x3e2ca213d840baf8, 0x3df6e80fe033c8c6, 0x3dc2533fe68fd3d2, 0x3d8d51ffd74c861c,
    0x3d5774ccac3d3817, 0x3d22c3d6f030f9ac, 0x3cee0624b3818f79, 0x3cb804ea293472c7,
    0x3c833721ba905bd3, 0x3c4ebe9c5db3c61e, 0x3c18987d17c304e5, 0x3be3ad30dfcf371d,
    0x3baf7b816618582f, 0x3b792f9ab81379bf, 0x3b442615600f9499, 0x3b101e77800c76e1,
    0x3ad9ca58cce0be35, 0x3aa4a1e0a3e6fe90, 0x3a708180831f320d, 0x3a3a68cd9e985016,
    0x4024000000000000, 0x4014000000000000, 0x3fe0000000000000, 0x3fa999999999999a,
    0x3f747ae147ae147b, 0x3f40624dd2f1a9fc, 0x3f0a36e2eb1c432d, 0x3ed4f8b588e368f1,
    0x3ea0c6f7a0b5ed8d, 0x3e6ad7f29abcaf48, 0x3e35798ee2308c3a, 0x3ed539223589fa95,
    0x3ed4ff26cd5a7781, 0x3ed4f95a762283ff, 0x3ed4f8c60703520c, 0x3ed4f8b72f19cd0d,
    0x3ed4f8b5b31c0c8d, 0x3ed4f8b58d1c461a, 0x3ed4f8b5894f7f0e, 0x3ed4f8b588ee37f3,
    0x3ed4f8b588e47da4, 0x3ed4f8b588e3849c, 0x3ed4f8b588e36bb5, 0x3ed4f8b588e36937,
    0x3ed4f8b588e368f8, 0x3ed4f8b588e368f1, 0x3ff0000000000000, 0xbff0000000000000,
    0xbfeffffffffffffa, 0xbfeffffffffffffb, 0x3feffffffffffffa, 0x3feffffffffffffb,
    0x3feffffffffffffc, 0x3feffffffffffffe, 0xbfefffffffffffff, 0xbfefffffffffffff,
    0x3fefffffffffffff, 0x3fefffffffffffff, 0x3fd3333333333332, 0x3fd3333333333333,
    0x3fd3333333333334, 0x0010000000000000, 0x000ffffffffffffd, 0x000fffffffffffff,
    0x7fefffffffffffff, 0xffefffffffffffff, 0x4340000000000000, 0xc340000000000000,
    0x4430000000000000, 0x44b52d02c7e14af5, 0x44b52d02c7e14af6, 0x44b52d02c7e14af7,
    0x444b1ae4d6e2ef4e, 0x444b1ae4d6e2ef4f, 0x444b1ae4d6e2ef50, 0x3eb0c6f7a0b5ed8c,
    0x3eb0c6f7a0b5ed8d, 0x41b3de4355555553, 0x41b3de4355555554, 0x41b3de4355555555,
    0x41b3de4355555556, 0x41b3de4355555557, 0xbecbf647612f3696, 0x43143ff3c1cb0959,
};

static double next_number(size_t index) {
    static uint8_t block[SHA256_DIGEST_SIZE];
    static size_t used;
    double value = 0;
    if (index < COUNT(first_bits)) {
        memset(block, 0, sizeof block);
        used = sizeof block;
        return double_of(first_bits[index]);
    }
    if (index < COUNT(first_bits) + 2000) {
        return double_of(0x0010000000000000 + index - COUNT(first_bits));
    }
    while (value == 0 || !isfinite(value)) {
        uint64_t bits = 0;
        if (used == sizeof block) {
            struct sha256_ctx context;
            sha256_init(&context);
            sha256_update(&context, sizeof block, block);
            sha256_digest(&context, sizeof block, block);
            used = 0;
        }
        for (size_t i = 8; i-- > 0;) {
            bits = bits << 8 | block[used + i];
        }
        used += 8;
        value = double_of(bits);
    }
    return value;
}

static void assert_digest(const struct sha256_ctx *context, const char *wanted) {
    struct sha256_ctx copy = *context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char hex[2 * sizeof digest + 1] = "";
    sha256_digest(&copy, sizeof digest, digest);
    base16_encode_update(hex, sizeof digest, digest);
    assert_string_equal(hex, wanted);
}

static void test_stream_of_numbers(void **state) {
    (void)state;
    struct sha256_ctx context;
    sha256_init(&context);
    for (size_t i = 0; i < 10000; i++) {
        double value = next_number(i);
        uint64_t bits;
        char line[64];
        UP_FREED char *text = canonical_number(value);
        memcpy(&bits, &value, sizeof bits);
        int length = snprintf(line, sizeof line, "%" PRIx64 ",%s\n", bits, text);
        sha256_update(&context, (size_t)length, (const uint8_t *)line);
        if (i + 1 == 1000) {
            assert_digest(&context,
                          "be18b62b6f69cdab33a7e0dae0d9cfa869fda80ddc712221570f9f40a5878687");
        }
    }
    assert_digest(&context, "b9f7a8e75ef22a835685a52ccba7f7d6bdc99e34b010992cbc5864cd12be6892");
}

/* At a power of two the nearest number of 16 digits may be none of its own where the next one is
   (46 of them), which those numbers do not meet. As JSON.stringify(2**n) of node 20 (V8) prints
   them, n from -1022 to 1023, a line feed behind each. */
static void test_powers_of_two(void **state) {
    (void)state;
    struct sha256_ctx context;
    sha256_init(&context);
    for (int exponent = -1022; exponent <= 1023; exponent++) {
        UP_FREED char *text = canonical_number(ldexp(1, exponent));
        sha256_update(&context, strlen(text), (const uint8_t *)text);
        sha256_update(&context, 1, (const uint8_t *)"\n");
    }
    assert_digest(&context, "10ef76ab14281572f6041cda4222375eace9f43899913e92e5c6445cbcafbc72");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_of_appendix_b),
        cmocka_unit_test(test_examples),
        cmocka_unit_test(test_stream_of_numbers),
        cmocka_unit_test(test_powers_of_two),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
