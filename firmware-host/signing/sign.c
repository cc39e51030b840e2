/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Hashes and Ed25519 signatures, by nettle. */
#include <gmp.h>
#include <nettle/base16.h>
#include <nettle/eddsa.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "signing/internal.h"
#include "text/memory.h"
#include "text/text.h"

void signing_to_hex(const uint8_t *bytes, size_t count, char *hex) {
    base16_encode_update(hex, count, bytes);
    hex[2 * count] = '\0';
}

bool signing_from_hex(const char *hex, size_t count, uint8_t *bytes) {
    struct base16_decode_ctx context;
    size_t length = count;
    base16_decode_init(&context);
    /* nettle would take blanks and capitals. */
    return up_text_is_hex(hex, 2 * count) &&
           base16_decode_update(&context, &length, bytes, 2 * count, hex);
}

void signing_hash(const char *lead, const char *bytes, size_t length, char hex[UP_SHA256_SIZE]) {
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&context);
    sha256_update(&context, strlen(lead), (const uint8_t *)lead);
    sha256_update(&context, length, (const uint8_t *)bytes);
    sha256_digest(&context, sizeof digest, digest);
    signing_to_hex(digest, sizeof digest, hex);
}

void up_hash_bytes(const char *bytes, size_t length, char hex[UP_SHA256_SIZE]) {
    signing_hash("", bytes, length, hex);
}

/* ---- the numbers below the signatures ---- */

static void *grow(void *old, size_t old_bytes, size_t bytes) {
    (void)old_bytes;
    return up_reallocate(old, bytes, 1);
}

static void wipe(void *block, size_t bytes) {
    explicit_bzero(block, bytes);
    free(block);
}

/* nettle computes with GMP, which aborts without a word where there is no memory, and leaves parts
   of a secret in what it frees. */
static void keep_numbers(void) {
    mp_set_memory_functions(up_allocate_bytes, grow, wipe);
}

/* ---- keys and signatures ---- */

bool up_key_make(uint8_t seed[UP_SEED_BYTES]) {
    size_t got = 0;
    while (got < UP_SEED_BYTES) {
        ssize_t more = getrandom(seed + got, UP_SEED_BYTES - got, 0);
        if (more <= 0) {
            explicit_bzero(seed, UP_SEED_BYTES);
            return false;
        }
        got += (size_t)more;
    }
    return true;
}

void up_key_public(const uint8_t seed[UP_SEED_BYTES], char public_key[UP_KEY_SIZE]) {
    uint8_t key[ED25519_KEY_SIZE];
    keep_numbers();
    ed25519_sha512_public_key(key, seed);
    signing_to_hex(key, sizeof key, public_key);
}

void up_sign_bytes(const uint8_t seed[UP_SEED_BYTES], const uint8_t *bytes, size_t length,
                   char signature[UP_SIGNATURE_SIZE]) {
    uint8_t key[ED25519_KEY_SIZE], signed_bytes[ED25519_SIGNATURE_SIZE];
    keep_numbers();
    ed25519_sha512_public_key(key, seed);
    ed25519_sha512_sign(key, seed, length, bytes, signed_bytes);
    signing_to_hex(signed_bytes, sizeof signed_bytes, signature);
}

/* Under these keys a signature needs no secret, and one holds for many records: the points of small
   order, their other spellings too, but for the bit that is the sign. */
static bool is_of_small_order(const uint8_t key[ED25519_KEY_SIZE]) {
#define ALL(digits) digits digits digits digits digits digits
    static const char *const points[] = {
        "00" ALL("0000000000") "00",
        "01" ALL("0000000000") "00",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
        "ec" ALL("ffffffffff") "7f",
        "ed" ALL("ffffffffff") "7f",
        "ee" ALL("ffffffffff") "7f",
    };
#undef ALL
    uint8_t unsigned_key[ED25519_KEY_SIZE];
    char hex[UP_KEY_SIZE];
    bool small = false;
    memcpy(unsigned_key, key, sizeof unsigned_key);
    unsigned_key[ED25519_KEY_SIZE - 1] &= 0x7f;
    signing_to_hex(unsigned_key, sizeof unsigned_key, hex);
    for (size_t i = 0; i < sizeof points / sizeof points[0]; i++) {
        small = small || strcmp(hex, points[i]) == 0;
    }
    return small;
}

bool up_signature_holds_bytes(const char *public_key, const uint8_t *bytes, size_t length,
                              const char *signature) {
    uint8_t key[ED25519_KEY_SIZE], signed_bytes[ED25519_SIGNATURE_SIZE];
    keep_numbers();
    return signing_from_hex(public_key, sizeof key, key) &&
           signing_from_hex(signature, sizeof signed_bytes, signed_bytes) &&
           !is_of_small_order(key) && ed25519_sha512_verify(key, length, bytes, signed_bytes) == 1;
}

bool up_sign(const uint8_t seed[UP_SEED_BYTES], const char *hash,
             char signature[UP_SIGNATURE_SIZE]) {
    uint8_t bytes[SHA256_DIGEST_SIZE];
    signature[0] = '\0';
    if (!signing_from_hex(hash, sizeof bytes, bytes)) {
        return false;
    }
    up_sign_bytes(seed, bytes, sizeof bytes, signature);
    return true;
}

bool up_signature_holds(const char *public_key, const char *hash, const char *signature) {
    uint8_t bytes[SHA256_DIGEST_SIZE];
    return signing_from_hex(hash, sizeof bytes, bytes) &&
           up_signature_holds_bytes(public_key, bytes, sizeof bytes, signature);
}
