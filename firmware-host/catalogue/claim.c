/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "catalogue/claim.h"

#include <stdio.h>

void up_claim_pieces(int pieces, char text[UP_CLAIM_SIZE]) {
    if (pieces > 2) {
        snprintf(text, UP_CLAIM_SIZE, "%d pieces", pieces);
    } else {
        snprintf(text, UP_CLAIM_SIZE, "%s",
                 pieces == 2   ? "a pair"
                 : pieces == 1 ? "one piece"
                               : "pieces not recorded");
    }
}

int up_claim_pieces_of(const json_t *result) {
    json_int_t pieces = json_integer_value(json_object_get(result, "pieces"));
    return pieces > 0 && pieces <= 1000 ? (int)pieces : 0;
}

double up_tolerance_most_g(int pieces) {
    return pieces > 1 ? UP_TOLERANCE_MOST_PAIR_G : UP_TOLERANCE_MOST_ONE_G;
}
