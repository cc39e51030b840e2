/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One result in words. */
#include <math.h>

#include "upthrust/report.h"
#include "upthrust/text.h"

static const double LEAD_KG_M3 = 11340; /* handbook value of pure lead */

static const char *meaning(enum up_class class) {
    switch (class) {
    case UP_CLASS_POSITIVE:
        return "floats";
    case UP_CLASS_NEGATIVE:
        return "sinks";
    case UP_CLASS_NEUTRAL:
        return "hangs";
    case UP_CLASS_UNDECIDED:
        break;
    }
    return "the interval reaches over a class line";
}

static void print_net(const struct up_result *result, const struct up_style *style, FILE *stream) {
    const struct up_answer *answer = &result->answer;
    char temp[UP_SHOWN_SIZE], density[UP_SHOWN_SIZE], net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
    up_style_temp(style, result->water.temp_c, temp);
    up_style_density(style, result->water_density_kg_m3.value, density);
    up_style_mass(style, answer->buoyancy_kg.value * 1e3, net);
    up_style_uncertainty(style, answer->expanded_u_kg * 1e3, u);
    fputs("  ", stream);
    up_text_put(stream, result->water.name, 10, style->isolate);
    fprintf(stream, " %7s %14s  net %10s +- %s (%.0f %%)  ", temp, density, net, u,
            result->question.coverage * 100);
    up_style_class(style, up_class_name(answer->class), 0, stream);
    fprintf(stream, ": %s\n", meaning(answer->class));
}

/* Lead is a matter of what pulls up or down, so a class that is not sure does not hide it. */
static void print_lead(const struct up_result *result, const struct up_style *style, FILE *stream) {
    double b_kg = result->answer.buoyancy_kg.value;
    char lead[UP_SHOWN_SIZE], depth[UP_SHOWN_SIZE];
    if (!isfinite(b_kg) || !(result->water_density_kg_m3.value > 0)) {
        return;
    }
    up_style_lead(style,
                  fabs(up_lead_to_cancel_kg(b_kg, result->water_density_kg_m3.value, LEAD_KG_M3)) *
                      1e3,
                  lead);
    up_style_depth(style, result->immersion_depth_m, depth);
    if (result->compressible) {
        fprintf(stream, "  %-10s compressible: this holds at %s only, deeper it lifts less\n", "",
                depth);
    } else if (b_kg > 0) {
        fprintf(stream, "  %-10s %s of lead there would cancel its lift (lead of %.0f kg/m3)\n", "",
                lead, LEAD_KG_M3);
    } else {
        fprintf(stream, "  %-10s it pulls down as %s of lead would there (lead of %.0f kg/m3)\n",
                "", lead, LEAD_KG_M3);
    }
}

/* Where the estimate would have to lie; not known of results from before it was kept. */
static void print_guard(const struct up_result *result, const struct up_style *style,
                        FILE *stream) {
    const struct up_answer *answer = &result->answer;
    double tolerance_kg = result->question.tolerance_kg;
    double low_kg = answer->guard_low_kg - tolerance_kg;
    double high_kg = tolerance_kg - answer->guard_high_kg;
    char from[UP_SHOWN_SIZE], to[UP_SHOWN_SIZE], up[UP_SHOWN_SIZE], down[UP_SHOWN_SIZE];
    if (answer->draws == 0 || !isfinite(low_kg) || !isfinite(high_kg)) {
        return;
    }
    up_style_mass(style, (tolerance_kg + answer->guard_low_kg) * 1e3, up);
    up_style_mass(style, low_kg * 1e3, from);
    up_style_mass(style, high_kg * 1e3, to);
    up_style_mass(style, -(tolerance_kg + answer->guard_high_kg) * 1e3, down);
    fprintf(stream, "  %-10s stated at %.4g: positive from %s on, negative from %s down, ", "",
            up_confidence_at_look(&result->question), up, down);
    if (low_kg <= high_kg) {
        fprintf(stream, "neutral from %s to %s\n", from, to);
    } else {
        fputs("neutral nowhere\n", stream);
    }
}

static void print_first_order(const struct up_result *result, FILE *stream) {
    const struct up_answer *answer = &result->answer;
    if (answer->draws == 0) {
        return;
    }
    double part = answer->expanded_u_kg > 0
                      ? 1 - answer->first_order_expanded_u_kg / answer->expanded_u_kg
                      : (double)NAN;
    fprintf(stream, "  %-10s interval by Monte Carlo, %u draws%s; the first order's ", "",
            answer->draws, answer->stable ? "" : " (not yet at rest)");
    if (answer->first_order_agrees || !isfinite(part)) {
        fputs("agrees with it\n", stream);
    } else {
        fprintf(stream, "is %.2g %% %s and not used\n", fabs(part) * 100,
                part > 0 ? "narrower" : "wider");
    }
}

static void print_outlook(const struct up_result *result, FILE *stream) {
    if (result->answer.class != UP_CLASS_UNDECIDED || !result->has_model) {
        return;
    }
    if (result->trials_would_decide) {
        fprintf(stream, "  %-10s %u more trials would decide it, the net staying what it is\n", "",
                result->more_trials);
    } else {
        fprintf(stream,
                "  %-10s no number of trials would decide it: it lies on the line, or something "
                "else rules (`upthrust explain` tells)\n",
                "");
    }
}

static const char *pieces_of(const struct up_result *result) {
    return result->pieces == 1   ? ", one piece"
           : result->pieces == 2 ? ", a pair"
           : result->pieces > 2  ? ", several pieces"
                                 : "";
}

void up_result_print(const struct up_result *result, const struct up_style *style, FILE *stream) {
    const struct up_answer *answer = &result->answer;
    char tolerance[UP_SHOWN_SIZE];
    up_style_lead(style, result->question.tolerance_kg * 1e3, tolerance);
    print_net(result, style, stream);
    fprintf(stream,
            "  %-10s %s%s%s; probabilities: positive %.3f, neutral %.3f, negative %.3f; neutral is "
            "within %s\n",
            "", result->measured ? "measured" : "calculated from the weighings", pieces_of(result),
            result->rejudged ? ", judged again since" : "", answer->probability_positive,
            answer->probability_neutral, answer->probability_negative, tolerance);
    print_guard(result, style, stream);
    print_first_order(result, stream);
    print_outlook(result, stream);
    print_lead(result, style, stream);
}
