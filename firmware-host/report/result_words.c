/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One result in words. */

#include "report/report.h"
#include "text/text.h"

static const double LEAD_KG_M3 = 11340; /* handbook value of pure lead */

enum { INDENT = 4 };

/* What the class means in water. */
static void print_meaning(const struct up_result *result, FILE *stream) {
    static const char *const does[] = {[UP_CLASS_POSITIVE] = "floats",
                                       [UP_CLASS_NEGATIVE] = "sinks",
                                       [UP_CLASS_NEUTRAL] = "hovers"};
    enum up_class class = result->answer.class;
    if (does[class] != NULL) {
        fprintf(stream, ": %s", does[class]);
    }
}

/* Lead for comparison: of what it is said and of what not. False: nothing of it for what hovers,
   nor for what is squeezed at depth. */
static bool print_lead(const struct up_result *result, const struct up_style *style, FILE *stream) {
    double b_kg = result->answer.buoyancy_kg.value;
    double water_kg_m3 = result->water_density_kg_m3.value;
    char lead[UP_SHOWN_SIZE], pieces[UP_CLAIM_SIZE];
    if (result->compressible || result->quick.at_most || result->answer.class == UP_CLASS_NEUTRAL ||
        !isfinite(b_kg) || !(water_kg_m3 > 0)) {
        return false;
    }
    up_style_lead(style, fabs(up_lead_to_cancel_kg(b_kg, water_kg_m3, LEAD_KG_M3)) * 1e3, lead);
    up_claim_pieces(result->pieces, pieces);
    fprintf(stream, "%*s%s in ", INDENT, "", pieces);
    up_text_put(stream, result->water.name, 0, style->isolate);
    if (b_kg > 0) {
        fprintf(stream, ": about %s of lead would hold it down\n", lead);
    } else {
        fprintf(stream, ": weighs as much in water as %s of lead\n", lead);
    }
    return true;
}

static void print_compare(FILE *stream) {
    fprintf(stream, "%*slead: compare, do not take it off by this alone\n", INDENT, "");
}

/* What a diver needs first. */
static void print_net(const struct up_result *result, const struct up_style *style, FILE *stream) {
    const struct up_answer *answer = &result->answer;
    char net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE];
    up_style_net(style,
                 &(struct up_net){answer->buoyancy_kg.value * 1e3, answer->expanded_u_kg * 1e3,
                                  answer->stuck_air_kg * 1e3, up_claim_at_most_g(result)},
                 net, u);
    fputs("  ", stream);
    up_text_put(stream, result->water.name, 10, style->isolate);
    fprintf(stream, " %9s%s%s (%.0f %%%s)  ", net, u[0] != '\0' ? " " : "", u,
            result->question.coverage * 100, result->quick.is ? ", quick" : "");
    up_style_class(style, up_class_name(answer->class), 0, stream);
    print_meaning(result, stream);
}

static void print_stuck(FILE *stream) {
    fprintf(stream, "%*s" UP_CLAIM_STUCK "\n", INDENT, "");
}

/* One class: how probable, and where the estimate would have to lie for it to be stated, which is
   not known of results from before it was kept. A class that is out of the question is left out. */
static void print_chance(const char *class, double probability, const char *stated, bool *any,
                         FILE *stream) {
    if (probability < 0.0005) {
        return;
    }
    *any = true;
    if (probability >= 0.9995) {
        fprintf(stream, "%*smore than 99.9 %% sure it is %s%s\n", INDENT, "", class, stated);
    } else {
        fprintf(stream, "%*s%.1f %% likely to be %s%s\n", INDENT, "", probability * 100, class,
                stated);
    }
}

static void print_chances(const struct up_result *result, const struct up_style *style,
                          FILE *stream) {
    const struct up_answer *answer = &result->answer;
    if (result->quick.is) { /* by bounds, which have no probability */
        return;
    }
    double tolerance_g = result->question.tolerance_kg * 1e3;
    double low_g = answer->guard_low_kg * 1e3, high_g = answer->guard_high_kg * 1e3;
    char from[UP_SHOWN_SIZE], to[UP_SHOWN_SIZE], up[UP_SHOWN_SIZE], down[UP_SHOWN_SIZE];
    char positive[64] = "", neutral[128] = "", negative[64] = "";
    bool any = false;
    if (answer->draws > 0 && isfinite(low_g) && isfinite(high_g)) {
        up_style_mass(style, tolerance_g + low_g, up);
        up_style_mass(style, low_g - tolerance_g, from);
        up_style_mass(style, tolerance_g - high_g, to);
        up_style_mass(style, -tolerance_g - high_g, down);
        snprintf(positive, sizeof positive, " (called so above %s)", up);
        snprintf(negative, sizeof negative, " (called so below %s)", down);
        snprintf(neutral, sizeof neutral, " (called so from %s to %s)", from, to);
        if (low_g - tolerance_g > tolerance_g - high_g) {
            snprintf(neutral, sizeof neutral, " (never called so: the uncertainty is too large)");
        }
    }
    print_chance("positive", answer->probability_positive, positive, &any, stream);
    print_chance("neutral", answer->probability_neutral, neutral, &any, stream);
    print_chance("negative", answer->probability_negative, negative, &any, stream);
    if (!any) {
        fprintf(stream, "%*sprobabilities not known\n", INDENT, "");
    }
}

/* Only where the first order would state another class than the draws; otherwise `explain` shows
   both. */
static void print_first_order(const struct up_result *result, FILE *stream) {
    const struct up_answer *answer = &result->answer;
    double to_limit_kg = fabs(fabs(answer->buoyancy_kg.value) - result->question.tolerance_kg);
    if (answer->draws == 0 || result->quick.is) {
        return;
    }
    if (!answer->first_order_agrees && (answer->first_order_expanded_u_kg < to_limit_kg) !=
                                           (answer->expanded_u_kg < to_limit_kg)) {
        fprintf(stream,
                "%*sby Monte Carlo; the first order's interval, not used, would %sreach the line\n",
                INDENT, "", answer->expanded_u_kg < to_limit_kg ? "" : "not ");
    }
}

static void print_outlook(const struct up_result *result, FILE *stream) {
    if (result->quick.is) {
        return;
    }
    if (result->answer.class != UP_CLASS_UNDECIDED || !result->has_model) {
        return;
    }
    fprintf(stream, "%*sundecided in ", INDENT, "");
    up_text_put(stream, result->water.name, 0, false);
    if (result->trials_would_decide) {
        fprintf(stream, ": %u more trials would decide it, if the net stays the same\n",
                result->more_trials);
    } else {
        fputs(": more trials would not decide it;\n", stream);
        fprintf(stream, "%*splan with the grams (`upthrust explain` shows why)\n", INDENT, "");
    }
}

static void print_conditions(const struct up_result *result, const struct up_style *style,
                             FILE *stream) {
    char temp[UP_SHOWN_SIZE], density[UP_SHOWN_SIZE];
    up_style_temp(style, result->water.temp_c, temp);
    up_style_density(style, result->water_density_kg_m3.value, density);
    fprintf(stream, "%*s%s at %s, %s\n", INDENT, "", result->measured ? "measured" : "calculated",
            temp, density);
}

static void print_aside(const struct up_result *result, const struct up_style *style,
                        FILE *stream) {
    char why[UP_CLAIM_ASIDE_SIZE];
    up_claim_aside(result, why);
    if (why[0] != '\0') {
        UP_FREED char *shown = up_style_text(style, why);
        fprintf(stream, "%*s" UP_CLAIM_PUT_ASIDE ";\n%*s%s\n", INDENT, "", INDENT, "", shown);
    }
    if (result->quick.at_most) {
        fprintf(stream, "%*s" UP_CLAIM_AT_MOST "\n", INDENT, "");
    }
}

/* What it holds for, in every water. */
static void print_terms(const struct up_result *result, const char *kind,
                        const struct up_style *style, FILE *stream) {
    char tolerance[UP_SHOWN_SIZE], depth[UP_SHOWN_SIZE], scope[UP_CLAIM_SCOPE_SIZE];
    char filling[UP_CLAIM_FILLING_SIZE];
    up_claim_scope(result->pieces, false, false, scope);
    up_claim_filling(&result->filling, kind, filling);
    up_style_lead(style, result->question.tolerance_kg * 1e3, tolerance);
    up_style_depth(style, result->immersion_depth_m, depth);
    fprintf(stream, "%*sneutral = within %s; stated at %.4g %% confidence\n%*s%s\n", INDENT, "",
            tolerance, up_confidence_at_analysis(&result->question) * 100, INDENT, "", scope);
    if (result->quick.is) {
        fprintf(stream, "%*s" UP_CLAIM_QUICK "\n", INDENT, "");
    }
    if (result->simulated) {
        fprintf(stream, "%*ssimulated: no gear was weighed\n", INDENT, "");
    }
    if (result->rejudged) {
        fprintf(stream, "%*sjudged again since it was measured, by `upthrust decide`\n", INDENT,
                "");
    }
    if (result->compressible) {
        fprintf(stream, "%*sit holds gas or may: this is for %s only, deeper it lifts less\n",
                INDENT, "", depth);
    }
    if (filling[0] != '\0') {
        UP_FREED char *safe = up_text_for_terminal(filling);
        fprintf(stream, "%*s%s\n", INDENT, "", safe);
    }
}

/* As the item is now, whatever it was. */
static struct up_result as_now(const struct up_result *measured, const struct up_item *item) {
    struct up_result result = *measured;
    result.compressible = result.compressible || (item != NULL && item->compressible);
    return result;
}

struct up_result_notes up_result_print(const struct up_result *measured, const struct up_item *item,
                                       const struct up_style *style, FILE *stream) {
    struct up_result result = as_now(measured, item);
    print_net(&result, style, stream);
    fputc('\n', stream);
    struct up_result_notes notes = {.stuck = up_style_has_stuck(result.answer.stuck_air_kg * 1e3),
                                    .lead = print_lead(&result, style, stream)};
    print_aside(&result, style, stream);
    print_conditions(&result, style, stream);
    print_chances(&result, style, stream);
    print_first_order(&result, stream);
    print_outlook(&result, stream);
    return notes;
}

void up_result_terms_print(const struct up_result *measured, const struct up_item *item,
                           struct up_result_notes notes, const struct up_style *style,
                           FILE *stream) {
    struct up_result result = as_now(measured, item);
    if (notes.stuck) {
        print_stuck(stream);
    }
    if (notes.lead) {
        print_compare(stream);
    }
    print_terms(&result, item != NULL ? item->kind : "", style, stream);
}

void up_results_print(const struct up_result *result, unsigned count, const struct up_item *item,
                      const struct up_style *style, FILE *stream) {
    unsigned asked = count > 1 ? 1 : 0; /* the tank's own is no water that anybody dives in */
    bool lead = false;
    for (unsigned i = 0; i < count; i++) {
        char temp[UP_SHOWN_SIZE];
        up_style_temp(style, result[i].water.temp_c, temp);
        print_net(&result[i], style, stream);
        fprintf(stream, ", at %s\n", temp);
    }
    if (up_style_has_stuck(result[0].answer.stuck_air_kg * 1e3)) {
        print_stuck(stream);
    }
    print_aside(&result[0], style, stream);
    for (unsigned i = asked; i < count; i++) {
        lead = print_lead(&result[i], style, stream) || lead;
    }
    if (lead) {
        print_compare(stream);
    }
    print_terms(&result[0], item->kind, style, stream);
    for (unsigned i = asked; i < count; i++) {
        print_outlook(&result[i], stream);
    }
}
