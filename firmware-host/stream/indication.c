/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stream/indication.h"

#include <math.h>

struct up_indication indication_of(const struct up_plateau *plateau) {
    return (struct up_indication){.time_s = (plateau->start_s + plateau->end_s) / 2,
                                  .step_s = plateau->step_s,
                                  .load = plateau->load,
                                  .u_load = plateau->u_load,
                                  .slope_per_s = plateau->slope_per_s,
                                  .decade = plateau->decade,
                                  .s_per_decade = plateau->s_per_decade,
                                  .temp_c = plateau->temp_c,
                                  .late_s = plateau->late_s,
                                  .early = plateau->early,
                                  .known = true};
}

double tare_at(const struct up_indication *before, const struct up_indication *after, double time_s,
               double *u_load) {
    double span_s = after->time_s - before->time_s;
    double weight = span_s > 0 ? (time_s - before->time_s) / span_s : 0.5;
    weight = fmin(fmax(weight, 0), 1);
    *u_load = hypot((1 - weight) * before->u_load, weight * after->u_load);
    return (1 - weight) * before->load + weight * after->load;
}

struct up_quantity load_between(const struct up_indication *before,
                                const struct up_indication *load,
                                const struct up_indication *after) {
    double u_tare = 0;
    double tare = tare_at(before, after, load->time_s, &u_tare);
    return up_known(load->load - tare, hypot(load->u_load, u_tare));
}
