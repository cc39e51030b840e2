/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose records count: trust that is given here, and what writers say of each other's keys. */
#pragma once

#include "catalogue/records.h"
#include "signing/signing.h"

/* What is given here, and is part of no record: "bench" (its records are known), "editor" (its
   versions of others' things count, and so do its recalls), "federation" (so do its vouchings, one
   level of them) or "none" (whoever vouches for it). UP_STATUS_WRONG_INPUT for another role, what
   is no key, and a name that is too long. The reason may be empty. */
bool up_trust_give(struct up_catalogue *catalogue, const char *writer, const char *role,
                   const char *name, const char *reason, struct up_failure *failure);

/* A key that was met here, by its beginning (four digits at least), or any whole key. */
bool up_trust_find(struct up_catalogue *catalogue, const char *beginning, char writer[UP_KEY_SIZE],
                   struct up_failure *failure);

/* Records that are signed here, and travel. `counts`: whether it has an effect here; the word of
   who may not say so is kept without one. */
bool up_trust_vouch(struct up_catalogue *catalogue, const char *writer, const char *name,
                    struct up_failure *failure);
/* From now on this folder signs with another key, to which its trust passes: `writer`. */
bool up_trust_new_key(struct up_catalogue *catalogue, char writer[UP_KEY_SIZE],
                      struct up_failure *failure);
/* What it signed after number `last` (0: all) does not count, nor what is not before the record of
   that number, whose hash begins with `hash` ("" where there is one only). A folder that revokes
   the key it signs with gets another one. */
bool up_trust_revoke(struct up_catalogue *catalogue, const char *writer, long long last,
                     const char *hash, const char *reason, bool *counts,
                     struct up_failure *failure);
/* Records by their numbers, of which one at least is here; `writer` "": the key of this folder. */
bool up_trust_recall(struct up_catalogue *catalogue, const char *writer, long long first,
                     long long last, const char *reason, bool *counts, struct up_failure *failure);

/* A writer that was met here. Texts are lent for the visit. */
struct up_trust_row {
    const char *writer, *name;
    const char *reason;  /* why trust was given or refused here; may be empty */
    const char *role;    /* "" where it has none */
    const char *through; /* whose vouching or rotation gave it; "" where it was given here */
    const char *how;     /* "here", "vouching", "rotation" or "" */
    bool own;            /* this folder signed, or signs, with it */
    long long records, last_sequence, missing, forked; /* numbers that are missing, used twice */
    const char *last_utc;
    long long revoked_after; /* -1: not revoked */
    const char *revoked_why;
    long long recalled, left_out; /* records */
    long long ignored;            /* revocations and recalls of it that have no effect here */
};
bool up_trust_each(struct up_catalogue *catalogue,
                   bool (*visit)(const struct up_trust_row *row, void *context), void *context,
                   struct up_failure *failure);
