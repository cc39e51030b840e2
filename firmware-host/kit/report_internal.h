/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the two files that make the report share. */
#ifndef UPTHRUST_KIT_REPORT_INTERNAL_H
#define UPTHRUST_KIT_REPORT_INTERNAL_H

#include "kit/kit_file.h"
#include "kit/report.h"

/* Nearly empty: what a gauge still shows when little comes out (our choice). */
#define NEAR_EMPTY_BAR 10.0

struct answers {
    const struct kit_file *file;
    struct up_kit_draws *draws;
    struct up_failure *failure;
};

json_t *kit_answer_to_json(const struct up_kit_answer *answer, const char *unit);
struct up_kit_state state_at(const struct kit_file *file, double depth_m, double bar);

/* Members of the report about gear (report_gear.c); NULL where one fails. */
json_t *surplus_of(const struct answers *answers);
json_t *cylinders_of(const struct answers *answers);
json_t *moments_of(const struct answers *answers);
json_t *fins_of(const struct answers *answers);
json_t *swaps_of(const struct answers *answers);
json_t *moves_of(const struct answers *answers);
json_t *models_of(const struct answers *answers);

#endif
