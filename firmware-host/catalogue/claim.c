/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "catalogue/claim.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "catalogue/kind.h"
#include "catalogue/records.h"

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

bool up_claim_is_withdrawn(const json_t *result, bool item_compressible) {
    return item_compressible && strcmp(up_record_text(result, "water"), "tank") != 0;
}

void up_claim_filling(const struct up_filling *filling, const char *kind,
                      char text[UP_CLAIM_FILLING_SIZE]) {
    enum up_filled filled = up_kind_facts(kind)->filled;
    text[0] = '\0';
    if (strcmp(filling->gas, "none") == 0) {
        snprintf(text, UP_CLAIM_FILLING_SIZE, "as weighed, emptied of gas");
    } else if (filling->gas[0] != '\0') {
        snprintf(text, UP_CLAIM_FILLING_SIZE,
                 "as weighed, at %.4g bar of %s; changes by kilograms over a dive",
                 filling->pressure_bar, filling->gas);
    } else if (filled == UP_FILLED_TO_PRESSURE) {
        snprintf(text, UP_CLAIM_FILLING_SIZE,
                 "as weighed, its pressure not recorded; changes by kilograms over a dive");
    } else if (filled == UP_FILLED_EMPTIED) {
        snprintf(text, UP_CLAIM_FILLING_SIZE,
                 "as weighed; whether it was emptied of gas is not "
                 "recorded");
    }
}

void up_claim_whose(int pieces, char text[UP_CLAIM_SIZE]) {
    char of[UP_CLAIM_SIZE / 2] = "this one piece";
    if (pieces == 2) {
        snprintf(of, sizeof of, "this pair");
    } else if (pieces > 2) {
        snprintf(of, sizeof of, "these %d pieces", pieces);
    } else if (pieces < 1) {
        snprintf(of, sizeof of, "pieces not recorded");
    }
    snprintf(text, UP_CLAIM_SIZE, "%s, not the model", of);
}

void up_claim_scope(int pieces, bool simulated, bool quick, char text[UP_CLAIM_SCOPE_SIZE]) {
    char whose[UP_CLAIM_SIZE];
    up_claim_whose(pieces, whose);
    snprintf(text, UP_CLAIM_SCOPE_SIZE, "%s%s%s; a weight check in the water decides",
             simulated ? "simulated, no gear was weighed: " : "", quick ? UP_CLAIM_QUICK ": " : "",
             whose);
}

void up_claim_aside(const struct up_result *result, char text[UP_CLAIM_ASIDE_SIZE]) {
    double line_g = copysign(1e3 * result->question.tolerance_kg, result->answer.buoyancy_kg.value);
    text[0] = '\0';
    switch (result->quick.is ? result->quick.aside : UP_ASIDE_NOT) {
    case UP_ASIDE_NEAR:
        snprintf(text, UP_CLAIM_ASIDE_SIZE, "too near the line at %+.0f g", line_g);
        break;
    case UP_ASIDE_AIR:
        snprintf(text, UP_CLAIM_ASIDE_SIZE,
                 "air that may still be in it reaches over the line at %+.0f g", line_g);
        break;
    case UP_ASIDE_SCATTER:
        snprintf(text, UP_CLAIM_ASIDE_SIZE,
                 "its kind is new, and two immersions are not enough for the line at %+.0f g",
                 line_g);
        break;
    case UP_ASIDE_NOT:
    case UP_ASIDES:
        break;
    }
}

double up_claim_at_most_g(const struct up_result *result) {
    return result->quick.is && result->quick.at_most ? result->quick.high_kg * 1e3 : (double)NAN;
}

bool up_claim_is_quick(const json_t *result) {
    return json_is_true(json_object_get(result, "is_quick"));
}

bool up_claim_stays(struct up_claim_rank there, struct up_claim_rank comes) {
    if (there.elsewhere != comes.elsewhere) {
        return comes.elsewhere;
    }
    return !there.quick && comes.quick && there.pieces == comes.pieces;
}

bool up_claim_is_simulated(const json_t *result, const char *bench) {
    return json_is_true(json_object_get(result, "simulated")) ||
           strcmp(bench, "simulated-tank") == 0;
}

void up_claim_signer(const char *writer, long long sequence, bool holds, char text[UP_CLAIM_SIZE]) {
    if (writer[0] == '\0') {
        snprintf(text, UP_CLAIM_SIZE, "not signed: nothing shows who wrote it, or when");
    } else if (holds) {
        snprintf(text, UP_CLAIM_SIZE, "signed by the key %.16s, its record %lld", writer, sequence);
    } else {
        snprintf(text, UP_CLAIM_SIZE,
                 "its signature is not that of the key %.16s: changed or forged", writer);
    }
}
