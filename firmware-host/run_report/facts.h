/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the catalogue knows of one run of `measure`. */
#pragma once

#include "upthrust/catalogue.h"

enum { FACTS_RESULTS_MAX = 32 };

struct facts {
    char run_id[UP_ID_SIZE], bench[UP_NAME_SIZE], begun_utc[UP_TIME_SIZE];
    char rig_name[UP_NAME_SIZE], rig_sha256[UP_SHA256_SIZE], version[32];
    bool elsewhere;                    /* the run came by import or merge */
    char earlier[UP_ID_SIZE];          /* the run that this one continues; empty: none */
    json_t *result[FACTS_RESULTS_MAX]; /* as up_explain has them, the tank's first */
    int results;
    int withdrawn;    /* left out: calculated, of what holds gas */
    json_t *verified; /* words by result id (catalogue/verification.h) */
    struct up_item item;
    struct up_calibration calibration;
    bool has_calibration; /* it is in this catalogue */
};

/* UP_STATUS_WRONG_INPUT where there is no such run, or it measured nothing. The caller releases
   them, whatever came of it. */
bool facts_gather(struct up_catalogue *catalogue, const char *run, struct facts *facts,
                  struct up_failure *failure);
void facts_release(struct facts *facts);
