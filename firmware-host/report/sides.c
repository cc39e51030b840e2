/* SPDX-License-Identifier: GPL-3.0-or-later */
/* In words, what a result's record tells beside its number. */
#include <math.h>

#include "upthrust/report.h"
#include "upthrust/text.h"

static double number_of(const json_t *body, const char *key) {
    const json_t *member = json_object_get(body, key);
    return json_is_number(member) ? json_number_value(member) : (double)NAN;
}

static void print_left_out(const json_t *body, FILE *stream) {
    const json_t *list = json_object_get(body, "left_out"), *entry;
    size_t i;
    json_array_foreach(list, i, entry) {
        fprintf(stream, "%s%d",
                i == 0 ? "  left out of the mean by the operator's word: trial " : ", ",
                (int)json_integer_value(entry));
    }
    if (json_array_size(list) > 0) {
        fputc('\n', stream);
    }
}

static void print_uptake(const json_t *body, FILE *stream) {
    if (json_is_true(json_object_get(body, "takes_up_water"))) {
        fprintf(stream,
                "  it takes up water: %.2f g heavier each minute (standard uncertainty %.2f);\n"
                "    the number is ",
                number_of(body, "uptake_g_min"), number_of(body, "u_uptake_g_min"));
        if (json_is_true(json_object_get(body, "stated_at_last_soak"))) {
            fprintf(stream, "that after %.0f min\n", number_of(body, "soak_s") / 60);
        } else {
            fputs("the mean of its trials, too few to tell when\n", stream);
        }
    }
}

static void print_checks(const json_t *body, const struct up_style *style, FILE *stream) {
    const json_t *check;
    size_t i;
    json_array_foreach(json_object_get(body, "checks"), i, check) {
        const char *name = json_string_value(json_object_get(check, "name"));
        bool outside = json_is_true(json_object_get(check, "outside"));
        fputs("  reference body ", stream);
        up_text_put(stream, name != NULL ? name : "", 0, style->isolate);
        fprintf(stream, ": %+.1f g off (standard uncertainty %.1f g),\n    %s\n",
                number_of(check, "deviation_g"), number_of(check, "u_deviation_g"),
                outside ? "OUTSIDE its limits, gone on by the operator's word" : "within limits");
    }
}

static void print_two_points(const json_t *body, FILE *stream) {
    const json_t *points = json_object_get(body, "two_points");
    if (points != NULL) {
        double moment_nm = number_of(points, "moment_nm"), u_nm = number_of(points, "u_moment_nm");
        fprintf(stream,
                "  hung level by lines %.2f m apart: %+.0f g at the hook's end, %+.0f g at the "
                "other;\n    turning moment %+.3f N m (standard uncertainty %.3f)%s\n",
                number_of(points, "distance_m"), number_of(points, "hook_end_g"),
                number_of(points, "far_end_g"), moment_nm, u_nm,
                fabs(moment_nm) < 2 * u_nm ? ": none to speak of"
                : moment_nm > 0            ? ": the hook's end goes down"
                                           : ": the hook's end comes up");
    }
}

/* Stiff foam yields less than a gas, soft foam that is squeezed more: the width is that of a law
   that nobody has tested on this item. */
static void print_foretold(const json_t *list, FILE *stream) {
    const json_t *place;
    size_t i;
    json_array_foreach(list, i, place) {
        fprintf(stream, "%s%+.0f +- %.0f g at %.0f m",
                i == 0 ? "  by Boyle's law, in this water (twice the standard uncertainty):\n    "
                : i % 2 == 0 ? ",\n    "
                             : ", ",
                number_of(place, "buoyancy_g"), 2 * number_of(place, "u_buoyancy_g"),
                number_of(place, "depth_m"));
    }
    if (json_array_size(list) > 0) {
        fputc('\n', stream);
    }
}

static void print_second_depth(const json_t *body, FILE *stream) {
    const json_t *deep = json_object_get(body, "second_depth");
    double gas_l = number_of(deep, "gas_l");
    if (deep == NULL) {
        return;
    }
    fprintf(stream, "  at %.2f m: %+.0f g (standard uncertainty %.1f g)",
            number_of(deep, "depth_m"), number_of(deep, "buoyancy_g"),
            number_of(deep, "u_buoyancy_g"));
    if (isnan(gas_l)) {
        fputs("; no gas can be told from the two depths\n", stream);
        return;
    }
    fprintf(stream, ";\n    it yields as %.3f L of gas would (u %.3f L), at %.0f hPa and %.0f C\n",
            gas_l, number_of(deep, "u_gas_l"), number_of(deep, "pressure_pa") / 100,
            number_of(deep, "temp_c"));
    print_foretold(json_object_get(deep, "foretold"), stream);
}

void up_sides_print(const json_t *body, const struct up_style *style, FILE *stream) {
    print_left_out(body, stream);
    print_uptake(body, stream);
    print_checks(body, style, stream);
    print_two_points(body, stream);
    print_second_depth(body, stream);
}
