/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include "signing/signing.h"

/* Which a double, as others read it, counts one by one. */
#define SEQUENCE_MOST (1LL << 52)

/* Twice as many digits and a NUL. */
void signing_to_hex(const uint8_t *bytes, size_t count, char *hex);

/* Lower-case digits, twice as many; false for anything else. */
bool signing_from_hex(const char *hex, size_t count, uint8_t *bytes);

/* SHA-256 over `lead`, which ends in a line feed where it is not empty, and the bytes. */
void signing_hash(const char *lead, const char *bytes, size_t length, char hex[UP_SHA256_SIZE]);
