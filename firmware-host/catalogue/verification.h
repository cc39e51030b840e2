/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a reference body has verified that a bench weighs as it claims. Masses that are all light
 * by the same share, salt in water that is declared fresh, a line that always touches: no trace of
 * an item shows these, a body of known mass and volume does.
 *
 * The last session at the bench in which bodies were weighed counts, one of before the calibration
 * does not. A body inside its limits speaks for a week, and for the water that it hung in; one
 * outside speaks until another session has weighed one. A session's own bodies always count.
 */
#pragma once

#include "upthrust/catalogue.h"

enum up_verification {
    UP_VERIFICATION_NO_BODY,     /* none was weighed since the calibration */
    UP_VERIFICATION_OLD,         /* more than a week ago */
    UP_VERIFICATION_OTHER_WATER, /* the tank was filled with another since */
    UP_VERIFICATION_INSIDE,
    UP_VERIFICATION_OUTSIDE, /* of its limits */
};

/* As the exports have it: "inside", "outside", or "unchecked" for the rest. */
const char *up_verification_word(enum up_verification verification);

/* The word of every current result, by its id: an object for the caller to own; NULL where it
   fails. Results that were calculated later from a session have that session's word. */
json_t *up_verifications(struct up_catalogue *catalogue, struct up_failure *failure);

/* The same where each current result is visited anyway, the oldest first (up_catalogue_each): its
   word, which lives as long as the program. NULL where it fails; releasing NULL is allowed. */
struct up_verifier;
struct up_verifier *up_verifier_begin(struct up_catalogue *catalogue, struct up_failure *failure);
const char *up_verifier_visit(struct up_verifier *verifier, const struct up_record *result);
/* By its detail the first result of a session is judged, the others as that one: their facts do. */
bool up_verifier_wants_detail(const struct up_verifier *verifier, const struct up_record *result);
void up_verifier_release(struct up_verifier *verifier);

/* That of an item which would be weighed now, with this calibration in this water. */
bool up_verification_now(struct up_catalogue *catalogue, const char *bench,
                         const char *calibration_id, const struct up_water *tank,
                         enum up_verification *verification, struct up_failure *failure);
