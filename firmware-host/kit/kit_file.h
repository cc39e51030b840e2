/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file, read. */
#ifndef UPTHRUST_KIT_FILE_H
#define UPTHRUST_KIT_FILE_H

#include "kit/fields.h"
#include "kit/kit.h"
#include "upthrust/catalogue.h"
#include "upthrust/water.h"

enum { KIT_WATERS_MAX = UP_KIT_CHECKS_MAX + 2 };

struct kit_dive {
    struct up_water water;
    double deepest_m, stop_m, start_bar, reserve_bar;
    struct up_kit_state state; /* at the stop; depth and pressure are set by whoever asks */
};

/* What a result of the catalogue brings besides its number. */
struct kit_source {
    char bench[UP_NAME_SIZE];
    struct up_result *result; /* NULL where the part is given by data */
};

struct kit_file {
    struct up_kit kit;
    struct kit_dive dive;
    struct up_water water[KIT_WATERS_MAX];
    unsigned waters;
    struct up_catalogue *catalogue; /* NULL: none */
    struct kit_source source[UP_KIT_PARTS_MAX];
    double *covariance_kg2;
};

/* A state with the uncertainties of a dive computer and a gauge, and the lead as it is marked. */
struct up_kit_state kit_state(void);
bool read_check(struct kit_file *file, const struct place *place);
bool read_dive(struct kit_file *file, const struct place *kit);
/* Another water than the dive's. */
bool set_water(struct kit_file *file, const struct place *place, const struct up_water *named,
               double depth_m, struct up_kit_state *state);

/* The newest measurement in a tank of the item that a part names. */
bool read_catalogue_item(struct kit_file *file, const struct place *place, struct up_part *part);
void share_errors_of_results(struct kit_file *file);

/* `catalogue` may be NULL where no part is an item of it. */
bool kit_read(const char *path, struct up_catalogue *catalogue, struct kit_file *file,
              struct up_failure *failure);
void kit_release(struct kit_file *file);

#endif
