/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Who wrote a record: its envelope, what is hashed and signed of it, and the key pairs that this
 * account signs with. Bytes are hashed as they are stored, never a new serialisation of them.
 */
#pragma once

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "upthrust/failure.h"
#include "upthrust/item.h"

/* In lower-case hexadecimal, with the NUL; a secret is bytes. */
enum { UP_KEY_SIZE = 65, UP_SIGNATURE_SIZE = 129, UP_SEED_BYTES = 32 };

enum { UP_KIND_SIZE = 16, UP_REPLACES_MOST = 1000, UP_FAULT_SIZE = 120 };

/* ---- hashes and signatures ---- */

/* SHA-256 (FIPS 180-4) of bytes. */
void up_hash_bytes(const char *bytes, size_t length, char hex[UP_SHA256_SIZE]);

/* A new secret, from the system's random numbers; false where it has none. */
bool up_key_make(uint8_t seed[UP_SEED_BYTES]);

void up_key_public(const uint8_t seed[UP_SEED_BYTES], char public_key[UP_KEY_SIZE]);

/* Ed25519 (RFC 8032) over any bytes. The other one is false for what is no key, no signature, or
   another one's. */
void up_sign_bytes(const uint8_t seed[UP_SEED_BYTES], const uint8_t *bytes, size_t length,
                   char signature[UP_SIGNATURE_SIZE]);
bool up_signature_holds_bytes(const char *public_key, const uint8_t *bytes, size_t length,
                              const char *signature);

/* The same over the 32 bytes of a hash that is given in hexadecimal; false where it is none. */
bool up_sign(const uint8_t seed[UP_SEED_BYTES], const char *hash,
             char signature[UP_SIGNATURE_SIZE]);
bool up_signature_holds(const char *public_key, const char *hash, const char *signature);

/* ---- envelopes ---- */

/* Of a record of format 2. */
struct up_envelope {
    char id[UP_ID_SIZE], kind[UP_KIND_SIZE]; /* a word in lower case, "_" in it */
    char subject[UP_ID_SIZE];
    char bench[UP_NAME_SIZE]; /* clean text, may be empty */
    char made_utc[UP_TIME_SIZE];
    char writer[UP_KEY_SIZE];
    long long sequence;            /* of the writer, from 1; at most 2^52 */
    char previous[UP_SHA256_SIZE]; /* record hash of the writer's last one; "": it is the first */
    char facts[UP_SHA256_SIZE];    /* hash of their bytes */
    char detail[UP_SHA256_SIZE];   /* of its bytes; "": there is none */
    json_t *replaces;              /* ids, ascending, at most UP_REPLACES_MOST */
};

/* Canonical JSON (RFC 8785) with the members bench, detail, facts, format (2), id, kind, made_utc,
   previous, replaces, sequence, subject, writer; "" of previous and detail is null. Freed by the
   caller. NULL for an envelope that up_envelope_read would not take. */
char *up_envelope_write(const struct up_envelope *envelope);

/* Takes the canonical bytes of just these members, each of its form, and nothing else. `replaces`
   is a new reference. Where it is false, `envelope` is empty and `fault` says in one phrase what is
   wrong ("\"writer\" is not a key"). It looks at these bytes alone. */
bool up_envelope_read(const char *text, struct up_envelope *envelope, char fault[UP_FAULT_SIZE]);

/* Whether one that `read` takes says that there is detail. */
bool up_envelope_has_detail(const char *text);

/* The record's hash: SHA-256 over "upthrust-record-2", a line feed and the envelope's bytes. */
void up_envelope_hash(const char *text, char hex[UP_SHA256_SIZE]);

/* ---- the writers of this account ---- */

/* A key pair, and how far it is known to have signed. Whoever holds one calls up_writer_forget. */
struct up_writer {
    char public_key[UP_KEY_SIZE];
    uint8_t seed[UP_SEED_BYTES];
    long long sequence;         /* highest noted; 0 for none */
    char hash[UP_SHA256_SIZE];  /* of that record; "" for none */
    char succeeds[UP_KEY_SIZE]; /* whose place it took (up_writer_renew); "" for nobody's */
};

/* The functions below keep one file for each place (a catalogue's: 64 hexadecimal digits) in the
   folder upthrust/writers of XDG_STATE_HOME, for this account alone. UP_STATUS_UNABLE where it
   cannot be kept there, UP_STATUS_WRONG_INPUT where what stands there is damaged, no file (a link,
   a pipe) or open to others. Then `writer` is empty, unless its function says otherwise. */

/* The writer of a place; a new key pair where there is none yet (*is_new). Programs that ask at
   once get the same one. */
bool up_writer_open(const char *place, struct up_writer *writer, bool *is_new,
                    struct up_failure *failure);

/* Another key pair takes the place of the one in `writer` (the folder was copied or put back),
   unless another program was first: then `writer` becomes what that one made. The old one can still
   be had from up_writer_retired and sign its successor. Where it fails, `writer` stays the old one.
 */
bool up_writer_renew(const char *place, struct up_writer *writer, struct up_failure *failure);

/* One whose place was taken, by its public key. */
bool up_writer_retired(const char *public_key, struct up_writer *writer,
                       struct up_failure *failure);

/* Raises what is noted of a writer, retired meanwhile or not; never lowers it, in whatever order
   programs note. It is on the disk when it returns, and `writer` holds the highest. Where it fails,
   `writer` is as it was. */
bool up_writer_note(const char *place, struct up_writer *writer, long long sequence,
                    const char *hash, struct up_failure *failure);

/* Wipes it, the secret included. */
void up_writer_forget(struct up_writer *writer);
