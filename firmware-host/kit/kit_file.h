/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit file, read. */
#ifndef UPTHRUST_KIT_FILE_H
#define UPTHRUST_KIT_FILE_H

#include "kit/fields.h"
#include "kit/kit.h"
#include "kit/report.h"
#include "upthrust/catalogue.h"
#include "upthrust/water.h"

enum { KIT_WATERS_MAX = UP_KIT_CHECKS_MAX + 2 };

struct kit_dive {
    struct up_water water;
    double deepest_m, stop_m, start_bar, reserve_bar;
    struct up_kit_state state; /* at the stop; depth and pressure are set by whoever asks */
};

struct kit_move {
    size_t from, to; /* parts, of lead */
    double kg;
};

/* An item of the catalogue with the result that counts: the newest in a tank, one of here before
   those of elsewhere. */
struct kit_gear {
    struct up_item item;
    struct up_result *result; /* NULL: not measured */
    char bench[UP_NAME_SIZE];
    char checked[16]; /* "inside" where a reference body bore the bench out
                         (catalogue/verification.h) */
    bool elsewhere, contested, result_contested; /* other content has its record's id */
};

/* Why a result of the catalogue counts only by name: the word that accepts it, and what to do
   instead. */
enum { KIT_DOUBTS = 9 };
extern const struct kit_doubt { const char *word, *instead; } kit_doubts[KIT_DOUBTS];

struct kit_file {
    struct up_kit kit;
    struct kit_dive dive;
    struct up_water water[KIT_WATERS_MAX];
    unsigned waters;
    struct kit_move move[UP_KIT_MOVES_MAX];
    size_t moves;
    struct up_catalogue *catalogue; /* NULL: none */
    struct kit_gear *gear;
    size_t gears;
    const json_t *accept; /* what all parts accept; while it is read */
    /* By part: the gear it is, NULL where it is given by data; how often that is worn; the samples
       that its model's spread comes from, 0: it is not known by its model. */
    const struct kit_gear *source[UP_KIT_PARTS_MAX];
    double count[UP_KIT_PARTS_MAX];
    unsigned samples[UP_KIT_PARTS_MAX];
    unsigned accepted[UP_KIT_PARTS_MAX]; /* a bit for each doubt that it has */
    size_t fins;           /* the part whose place other fins would take; SIZE_MAX: none is named */
    unsigned fins_omitted; /* that are not shown */
    double *covariance_kg2;
};

bool part_named(const struct kit_file *file, const char *name, size_t *part);
bool read_check(struct kit_file *file, const struct place *place);
bool read_dive(struct kit_file *file, const struct place *place);

/* The item, or the model's samples, that a part names. */
bool read_catalogue_gear(struct kit_file *file, const struct place *place, struct up_part *part);
/* The catalogue's other fins become spares. */
bool add_fins_of_catalogue(struct kit_file *file, struct up_failure *failure);
void share_errors_of_results(struct kit_file *file);

/* `catalogue` may be NULL where no part is an item of it. */
bool kit_read(const char *path, struct up_catalogue *catalogue, struct kit_file *file,
              struct up_failure *failure);
bool kit_parse(const char *path, const char *bytes, size_t length, struct up_catalogue *catalogue,
               struct kit_file *file, struct up_failure *failure);
void kit_release(struct kit_file *file);

/* ---- the report (report.c, report_gear.c) ---- */

/* Nearly empty: what a gauge still shows when little comes out (our choice). */
#define NEAR_EMPTY_BAR 10.0

struct answers {
    const struct kit_file *file;
    struct up_kit_draws *draws;
    struct up_failure *failure;
};

/* The list where all is good; else it is given up. */
json_t *list_or_null(bool good, json_t *list);
/* Of an object within a row; NaN where it is not there. */
double number_in(const json_t *row, const char *object, const char *key);
json_t *kit_answer_to_json(const struct up_kit_answer *answer, const char *unit);
struct up_kit_state state_at(const struct kit_file *file, double depth_m, double bar);

/* Its members about gear; NULL where one fails. */
json_t *surplus_of(const struct answers *answers);
json_t *cylinders_of(const struct answers *answers);
json_t *moments_of(const struct answers *answers);
json_t *fins_of(const struct answers *answers);
json_t *swaps_of(const struct answers *answers);
json_t *moves_of(const struct answers *answers);
json_t *models_of(const struct answers *answers);

#endif
