/* SPDX-License-Identifier: GPL-3.0-or-later */
/* In words, the remarks that a result's record holds beside its number. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/report.h"
#include "text/text.h"

/* Ounces per minute would show only zeros. */
static const double AN_HOUR_MIN = 60;

static void print_left_out(const json_t *content, FILE *stream) {
    const json_t *list = json_object_get(content, "left_out"), *entry;
    size_t i;
    json_array_foreach(list, i, entry) {
        fprintf(stream, "%s%d",
                i == 0 ? "  left out of the mean, as the operator chose: trial " : ", ",
                (int)json_integer_value(entry));
    }
    if (json_array_size(list) > 0) {
        fputc('\n', stream);
    }
}

/* The scale's zero, as the calibration found it, is part of the result. */
static bool has_offset(const json_t *content) {
    const json_t *line;
    size_t i;
    json_array_foreach(json_object_get(content, "budget"), i, line) {
        if (strcmp(up_record_text(line, "name"), "calibration offset") == 0) {
            return up_record_number(line, "value") != 0;
        }
    }
    return false;
}

/* One sentence, where the result is not the mean that the trials showed. */
void up_corrections_print(const json_t *content, const struct up_style *style, FILE *stream) {
    static const double SHOWN_G = 0.05, SHOWN_OF_U = 0.1; /* a smaller one would only confuse */
    double mean_g = up_record_number(content, "trials_mean_g"),
           air_g = up_record_number(content, "air_correction_g"),
           other_g = up_record_number(content, "other_corrections_g");
    double least_g = fmax(SHOWN_G, SHOWN_OF_U * up_record_number(content, "expanded_u_g"));
    bool air = fabs(air_g) >= SHOWN_G, other = fabs(other_g) >= least_g;
    char mean[UP_SHOWN_SIZE], net[UP_SHOWN_SIZE], lift[UP_SHOWN_SIZE], rest[UP_SHOWN_SIZE];
    if (!isfinite(mean_g) || (!air && !other) ||
        json_is_number(json_object_get(content, "at_most_g"))) {
        return;
    }
    up_style_mass(style, mean_g, mean);
    up_style_mass(style, up_record_number(content, "buoyancy_g"), net);
    up_style_uncertainty(style, 2 * air_g, lift);
    up_style_mass(style, other_g, rest);
    bool soaked = json_is_true(json_object_get(content, "stated_at_last_soak"));
    char *text =
        up_text_format("the trials' mean is %s, the result %s: %s%s%s%s%s", mean, net,
                       air ? "half the lift of the air that may still be in it, up to " : "",
                       air ? lift : "", air ? ", is taken off" : "",
                       !other ? ""
                       : air  ? "; and "
                              : "",
                       other ? rest : "");
    char *whole =
        up_text_format("%s%s", text,
                       !other                ? ""
                       : soaked              ? " for the water it took up"
                       : has_offset(content) ? " for the offset of the scale's zero, the line "
                                               "and the air's lift on the masses"
                                             : " for the line and the air's lift on the masses");
    up_text_lines(stream, "  ", whole, 78);
    free(whole);
    free(text);
}

static void print_uptake(const json_t *content, const struct up_style *style, FILE *stream) {
    char rise[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
    if (!json_is_true(json_object_get(content, "takes_up_water"))) {
        return;
    }
    up_style_uncertainty(style, up_record_number(content, "uptake_g_min") * AN_HOUR_MIN, rise);
    up_style_uncertainty(style, up_record_number(content, "u_uptake_g_min") * AN_HOUR_MIN, u);
    fprintf(stream,
            "  it soaks up water: %s heavier in an hour at that rate\n"
            "    (standard uncertainty %s); the number is ",
            rise, u);
    if (json_is_true(json_object_get(content, "stated_at_last_soak"))) {
        fprintf(stream, "that after %.3g min\n", up_record_number(content, "soak_s") / 60);
    } else {
        fputs("the mean of its trials, too few to show when\n", stream);
    }
}

static void print_unsteady(const json_t *content, const struct up_style *style, FILE *stream) {
    char rate[UP_SHOWN_SIZE];
    if (json_is_true(json_object_get(content, "forms_bubbles"))) {
        up_style_uncertainty(style, up_record_number(content, "bubbles_g_min"), rate);
        fprintf(
            stream,
            "  it grew lighter under water, by %s a minute: bubbles form on it;\n"
            "    let the water stand for a day and weigh again, the budget carries what formed\n",
            rate);
    }
    if (json_is_true(json_object_get(content, "drips"))) {
        fputs(
            "  water still dripped off when the empty hanger was read: dry the line and the upper\n"
            "    hook after lifting out; the budget carries what dripped\n",
            stream);
    }
}

static void print_two_points(const json_t *content, const struct up_style *style, FILE *stream) {
    const json_t *points = json_object_get(content, "two_points");
    double moment_nm = up_record_number(points, "moment_nm"),
           u_nm = up_record_number(points, "u_moment_nm");
    char distinction[UP_SHOWN_SIZE], hook[UP_SHOWN_SIZE], far[UP_SHOWN_SIZE];
    if (points == NULL) {
        return;
    }
    up_style_depth(style, up_record_number(points, "distance_m"), distinction);
    up_style_mass(style, up_record_number(points, "hook_end_g"), hook);
    up_style_mass(style, up_record_number(points, "far_end_g"), far);
    fprintf(stream,
            "  hung level by lines %s apart: %s at the hook's end, %s at the other;\n"
            "    turning moment %+.3f N m (standard uncertainty %.3f)%s\n",
            distinction, hook, far, moment_nm, u_nm,
            !(fabs(moment_nm) >= 2 * u_nm) ? ": none that is noticeable"
            : moment_nm > 0                ? ": the hook's end goes down"
                                           : ": the hook's end comes up");
}

/* Stiff foam yields less than a gas, soft foam that is squeezed more: the width is that of a law
   that nobody has tested on this item. */
static void print_predicted(const json_t *list, const struct up_style *style, FILE *stream) {
    const json_t *place;
    size_t i;
    json_array_foreach(list, i, place) {
        char net[UP_SHOWN_SIZE], width[UP_SHOWN_SIZE], depth[UP_SHOWN_SIZE];
        up_style_mass(style, up_record_number(place, "buoyancy_g"), net);
        up_style_lead(style, 2 * up_record_number(place, "u_buoyancy_g"), width);
        up_style_depth(style, up_record_number(place, "depth_m"), depth);
        fprintf(stream, "%s%s +- %s at %s",
                i == 0 ? "  by Boyle's law, in this water (twice the standard uncertainty):\n    "
                : i % 2 == 0 ? ",\n    "
                             : ", ",
                net, width, depth);
    }
    if (json_array_size(list) > 0) {
        fputc('\n', stream);
    }
}

static void print_second_depth(const json_t *content, const struct up_style *style, FILE *stream) {
    const json_t *deep = json_object_get(content, "second_depth");
    double gas_l = up_record_number(deep, "gas_l");
    char depth[UP_SHOWN_SIZE], net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE], temp[UP_SHOWN_SIZE];
    if (deep == NULL) {
        return;
    }
    up_style_depth(style, up_record_number(deep, "depth_m"), depth);
    up_style_mass(style, up_record_number(deep, "buoyancy_g"), net);
    up_style_uncertainty(style, up_record_number(deep, "u_buoyancy_g"), u);
    fprintf(stream, "  at %s: %s (standard uncertainty %s)", depth, net, u);
    if (isnan(gas_l)) {
        fputs("; the two depths do not show how much gas it holds\n", stream);
        return;
    }
    up_style_temp(style, up_record_number(deep, "temp_c"), temp);
    fprintf(
        stream,
        ";\n"
        "    it is compressed like %.3f L of gas (standard uncertainty %.3f), at %.0f hPa and %s\n",
        gas_l, up_record_number(deep, "u_gas_l"), up_record_number(deep, "pressure_pa") / 100,
        temp);
    print_predicted(json_object_get(deep, "foretold"), style, stream);
}

void up_result_remarks_print(const json_t *content, const struct up_style *style, FILE *stream) {
    print_left_out(content, stream);
    up_corrections_print(content, style, stream);
    print_uptake(content, style, stream);
    print_unsteady(content, style, stream);
    const json_t *check;
    size_t i;
    json_array_foreach(json_object_get(content, "checks"), i, check) {
        const char *name = json_string_value(json_object_get(check, "name"));
        bool outside = json_is_true(json_object_get(check, "outside"));
        char off[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
        up_style_mass(style, up_record_number(check, "deviation_g"), off);
        up_style_uncertainty(style, up_record_number(check, "u_deviation_g"), u);
        fputs("  reference body ", stream);
        up_text_put(stream, name != NULL ? name : "", 0, style->isolate);
        fprintf(stream, ": %s off (standard uncertainty %s),\n    %s\n", off, u,
                outside ? "OUTSIDE its limits, accepted by the operator" : "within limits");
    }
    print_two_points(content, style, stream);
    print_second_depth(content, style, stream);
}
