/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A calibration in words, and those that the catalogue keeps. */
#include <string.h>
#include <strings.h>

#include "session_options.h"
#include "text/text.h"

const struct option_text options_calibration[] = {
    {"bench", "ID", "list, show: of this bench only"},
    OPTION_RIG,
    {"masses-g", "LIST", "adopt: a known mass in g, or several"},
    {"rounds", "N", "adopt: hang each mass N times (default 2)"},
    {"mass-class", "CLASS", "adopt: of the masses, OIML R 111: E2, F1, F2, M1, M2, M3"},
    OPTION_TYPED,
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_PLAIN,
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

/* ---- in words ---- */

static void put_heading(const char *word, int columns, const struct up_style *style) {
    char heading[UP_SHOWN_SIZE];
    snprintf(heading, sizeof heading, "%s %s", word, up_style_unit(style));
    printf("%*s", columns, heading);
}

static void print_stairs(const struct up_calibration *calibration, const struct up_style *style) {
    unsigned top = calibration->stairs / 2;
    const char *unit = up_style_unit(style);
    char rising[UP_SHOWN_SIZE], falling[UP_SHOWN_SIZE], apart[UP_SHOWN_SIZE];
    if (isnan(calibration->hysteresis_kg)) {
        up_text_paragraph(
            stdout, "",
            "hysteresis: not tested; the usual limit of data sheets is used, 0.05 % of the span");
        return;
    }
    put_heading("staircase", 12, style);
    put_heading("rising", 11, style);
    put_heading("falling", 12, style);
    put_heading("apart", 12, style);
    putchar('\n');
    for (unsigned i = 0; i <= top && i < calibration->stairs; i++) {
        const struct up_stair *up = &calibration->stair[i];
        const struct up_stair *down = &calibration->stair[calibration->stairs - 1 - i];
        up_style_fine(style, up->residual_g, rising);
        up_style_fine(style, down->residual_g, falling);
        up_style_fine(style, down->hysteresis_g, apart);
        printf("%12.2f %10s ", up_style_in_unit(style, up->mass_kg * 1e3), rising);
        if (i < top) {
            printf("%11s %11s", falling, apart);
        }
        putchar('\n');
    }
    up_style_fine(style, calibration->hysteresis_kg * 1e3, apart);
    printf("hysteresis %s %s: the largest difference between falling and rising\n", apart + 1,
           unit);
}

/* A scale that prints a unit shows about 1 for a kilogram; no converter has so few counts. */
static bool shows_kg(double slope_counts_per_kg) {
    return fabs(slope_counts_per_kg) < 10;
}

/* The caller's. */
static char *slope_in_words(double slope_counts_per_kg, const struct up_style *style) {
    if (shows_kg(slope_counts_per_kg)) { /* the same share in any unit */
        return up_text_format(style->imperial ? "shows %.5f lb for a pound"
                                              : "shows %.5f kg for a kilogram",
                              slope_counts_per_kg);
    }
    return up_text_format("%.1f counts/%s", /* of one unit of the style */
                          slope_counts_per_kg * 1e-3 / up_style_in_unit(style, 1),
                          up_style_unit(style));
}

/* As the scale names it. */
static double step_g(const struct up_calibration *calibration) {
    double slope = calibration->slope_counts_per_kg;
    return 1e3 * calibration->division_counts / (shows_kg(slope) ? 1 : fabs(slope));
}

static void print_unloading(const struct up_calibration *calibration,
                            const struct up_style *style) {
    double unloading = calibration->unloading_slope_counts_per_kg;
    bool taken_off = false;
    for (unsigned i = 0; i < calibration->points; i++) {
        taken_off = taken_off || calibration->point[i].mass_kg < 0;
    }
    if (!isnan(unloading)) {
        UP_FREED char *slope = slope_in_words(unloading, style);
        up_style_say(style, stdout, "", "unloading has its own slope: %s, %+.3f %% off", slope,
                     (unloading / calibration->slope_counts_per_kg - 1) * 100);
    } else {
        puts(taken_off ? "unloading: no difference in slope was found"
                       : "unloading was not tested; the same slope is assumed");
    }
}

static void print_line(const struct up_calibration *calibration, const struct up_style *style) {
    if (calibration->quadratic_counts_per_kg2 != 0) {
        up_style_say(style, stdout, "",
                     "the line bends: %+.3f g at %g kg against its slope (F %.1f, limit %.1f)",
                     calibration->quadratic_counts_per_kg2 / calibration->slope_counts_per_kg *
                         pow(calibration->span_kg, 2) * 1e3,
                     calibration->span_kg, calibration->quadratic_f,
                     calibration->quadratic_f_limit);
    } else if (isnan(calibration->quadratic_f)) {
        up_text_paragraph(
            stdout, "",
            "the line is taken as straight: too few or too coarse readings to look for a bend");
    } else {
        up_style_say(style, stdout, "",
                     "the line is taken as straight: a bend %s (F %.1f, limit %.1f)",
                     calibration->quadratic_f > calibration->quadratic_f_limit
                         ? "is larger than scatter explains, but smaller than what remains of the "
                           "readings anyway"
                         : "is no larger than scatter explains",
                     calibration->quadratic_f, calibration->quadratic_f_limit);
    }
}

static void print_masses(const struct up_calibration *calibration) {
    if (calibration->mass_class[0] != '\0') {
        printf("masses of class %s (OIML R 111): ", calibration->mass_class);
    } else {
        printf("masses: ");
    }
    printf("accurate to %.2g %%\n", calibration->mass_tolerance_rel * 100);
}

static void print_conditions(const struct up_calibration *calibration,
                             const struct up_style *style) {
    char air[UP_SHOWN_SIZE];
    up_style_temp(style, calibration->temp_c, air);
    printf("air%s %s; ", isnan(calibration->temp_c) ? " temperature" : "", air);
    puts(isnan(calibration->preloaded) ? "preload not known"
         : calibration->preloaded != 0
             ? "preload done"
             : "preload skipped: the first loadings may read differently");
}

static void print_points(const struct up_calibration *calibration, const struct up_style *style) {
    put_heading("mass", 12, style);
    put_heading("reading", 13, style);
    put_heading("residual", 12, style);
    putchar('\n');
    for (unsigned i = 0; i < calibration->points; i++) {
        const struct up_calibration_point *point = &calibration->point[i];
        double mass_g = point->mass_kg * 1e3;
        char residual[UP_SHOWN_SIZE];
        up_style_fine(style, point->residual_g, residual);
        printf("%+12.2f %+12.2f %11s\n", up_style_in_unit(style, mass_g),
               up_style_in_unit(style, mass_g + point->residual_g), residual);
    }
}

/* What a coarse scale hides is no zero: readings all alike have at least the share of its steps. */
static void print_scatter(const struct up_calibration *calibration, const struct up_style *style) {
    double slope = calibration->slope_counts_per_kg;
    struct up_rounding rounding = up_calibration_rounding(calibration);
    char fit[UP_SHOWN_SIZE], offset[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE], noise[UP_SHOWN_SIZE];
    const char *unit = up_style_unit(style);
    up_style_fine(style, calibration->lack_of_fit_kg * 1e3, fit);
    up_style_fine(style, calibration->offset_counts / slope * 1e3, offset);
    up_style_fine(style, fabs(calibration->u_offset_counts / slope) * 1e3, u);
    up_style_fine(style, fabs(calibration->noise_counts / slope) * 1e3, noise);
    UP_FREED char *steps =
        rounding.lack_of_fit && calibration->lack_of_fit_kg > 0
            ? up_text_format(", no more than the scale's steps of %.3g g explain",
                             step_g(calibration))
            : up_text_format("%s", "");
    up_style_say(style, stdout, "",
                 "lack of fit %s %s%s; zero offset %s %s (standard uncertainty %s %s)", fit + 1,
                 unit, steps, offset, unit, u + 1, unit);
    if (calibration->window_s == 0) {
        puts("creep unknown: typed readings have no fixed timing");
    } else {
        bool hidden = fabs(calibration->noise_counts) < calibration->division_counts / sqrt(12);
        UP_FREED char *of_one =
            hidden ? up_text_format("hidden by its steps of %.3g g", step_g(calibration))
                   : up_text_format("%s %s", noise + 1, unit);
        up_style_say(style, stdout, "",
                     "creep %+.3f %% of load per tenfold time; noise of one reading %s",
                     calibration->creep_rel_decade * 100, of_one);
    }
}

void print_calibration(const struct up_calibration *calibration, const struct up_style *style) {
    double slope = calibration->slope_counts_per_kg;
    UP_FREED char *words = slope_in_words(slope, style);
    up_style_say(style, stdout, "",
                 "bench %s: %s, standard uncertainty %.3f %% of it (%.0f degrees of freedom)",
                 calibration->bench, words, fabs(calibration->u_slope_counts_per_kg / slope) * 100,
                 calibration->dof);
    print_points(calibration, style);
    print_stairs(calibration, style);
    print_unloading(calibration, style);
    print_line(calibration, style);
    print_scatter(calibration, style);
    print_masses(calibration);
    print_conditions(calibration, style);
    printf("stored as %s%s%s\n", calibration->id, calibration->made_utc[0] != '\0' ? ", " : "",
           calibration->made_utc);
}

/* A tenth of the usual neutral band, and a light load: choices of ours. */
#define GOOD_G   (UP_TOLERANCE_ONE_G / 10)
#define LIGHT_KG 0.1

static double u_at_span_g(const struct up_calibration *calibration) {
    return up_calibration_expanded_u_kg(calibration, calibration->span_kg) * 1e3;
}

void note_rough_calibration(const struct session_options *options) {
    UP_FREED struct up_calibration *latest = up_allocate(1, sizeof *latest);
    struct up_failure none = {0};
    if (options->settings.operator_kind != UP_OPERATOR_JSON &&
        up_calibration_to_use(options->catalogue, options->rig.id, latest, &none) &&
        !up_calibration_is_good(latest)) {
        const struct up_style style = {.imperial = options->settings.imperial};
        UP_FREED char *text =
            up_text_format("%s: the last calibration is known to %.1f g at %g kg "
                           "(95 %%), and results are as uncertain",
                           up_calibration_verdict(latest), u_at_span_g(latest), latest->span_kg);
        UP_FREED char *shown = up_style_text(&style, text);
        print_note(NULL, shown);
    }
}

/* Rounding adds more to each reading than this calibration leaves open about a light load. */
static bool is_coarse(const struct up_calibration *calibration) {
    return 2 * step_g(calibration) / sqrt(6) >
           up_calibration_expanded_u_kg(calibration, LIGHT_KG) * 1e3;
}

/* False where there is none: a scale of coarse steps does no better. */
static bool print_remedies(const struct up_calibration *calibration, double at_span_g,
                           const struct up_style *style) {
    struct up_rounding rounding = up_calibration_rounding(calibration);
    const struct {
        bool given, rounded;
        const char *text;
    } remedies[] = {
        {up_calibration_offset_matters(calibration), rounding.offset,
         "every load reads wrong by the same grams: look for friction, a touching line, a wrong "
         "mass"},
        {at_span_g > GOOD_G && calibration->hysteresis_kg * 1e3 > GOOD_G, rounding.hysteresis,
         "rising and falling loads read apart: look for a rubbing line, loose parts, a load off "
         "the "
         "middle of the cell"},
        {at_span_g > GOOD_G && calibration->lack_of_fit_kg * 2e3 > GOOD_G, rounding.lack_of_fit,
         "masses do not fit one line: check each mass, then that nothing swings"},
        {calibration->preloaded == 0, false,
         "hang the heaviest mass once before a calibration: the first "
         "loadings may read differently"},
    };
    bool any = false, steps = at_span_g > GOOD_G && is_coarse(calibration);
    for (size_t i = 0; i < sizeof remedies / sizeof remedies[0]; i++) {
        steps = steps || (remedies[i].given && remedies[i].rounded);
        if (remedies[i].given && !remedies[i].rounded) {
            up_text_paragraph(stdout, "To fix: ", remedies[i].text);
            any = true;
        }
    }
    if (steps) {
        up_style_say(style, stdout, "", "The scale's steps of %.3g g limit this%s.",
                     step_g(calibration),
                     any ? " too" : ": nothing shows a fault of masses or bench");
        puts("What helps: a scale of finer steps; more rounds with more different masses.");
    }
    return any;
}

void print_calibration_verdict(const struct up_calibration *calibration,
                               const struct up_catalogue *catalogue, const struct up_style *style) {
    double least_g = up_calibration_expanded_u_kg(calibration, LIGHT_KG) * 1e3;
    double span_g = u_at_span_g(calibration);
    bool good = up_calibration_is_good(calibration);
    UP_FREED char *steps =
        is_coarse(calibration)
            ? up_text_format(" The scale's steps of %.3g g come on top, with each reading.",
                             step_g(calibration))
            : up_text_format("%s", "");
    UP_FREED char *slope = slope_in_words(calibration->slope_counts_per_kg, style);
    up_text_print(stdout, "bench %s: %s\n", calibration->bench, slope);
    up_style_say(style, stdout, "",
                 "%s: this calibration is known to %.1f g at 100 g and %.1f g at %g kg (95 %%).%s",
                 up_calibration_verdict(calibration), least_g, span_g, calibration->span_kg, steps);
    bool mendable = print_remedies(calibration, span_g, style);
    UP_FREED char *what = up_text_format("calibration show %.8s", calibration->id);
    UP_FREED char *show = command_on(catalogue, what);
    puts("All its figures:");
    up_text_print(stdout, "  %s\n", show);
    puts(good ? "Next: weigh an item, or first a reference body, which checks the whole bench:"
         : mendable
             ? "Next: fix that and calibrate again; until then results are as uncertain as this:"
             : "Next: weigh an item: its result will be as uncertain as this:");
}

/* ---- those of the catalogue ---- */

struct query {
    const char *bench, *id; /* NULL: any */
    json_t *list;           /* NULL: in words */
    const struct up_style *style;
    unsigned found, benches, untrusted;
    char first_bench[UP_NAME_SIZE];
    struct up_calibration calibration; /* the latest looked at */
    bool elsewhere;                    /* it came from there */
    struct up_catalogue *catalogue;
};

static bool fits(const struct up_record *record, const struct query *query) {
    return (query->bench == NULL || strcmp(query->bench, record->bench) == 0) &&
           (query->id == NULL || strncasecmp(record->id, query->id, strlen(query->id)) == 0);
}

static bool read_match(const struct up_record *record, struct query *query) {
    if (!fits(record, query) || !up_calibration_from_json(record->content, &query->calibration)) {
        return false;
    }
    memcpy(query->calibration.id, record->id, sizeof record->id);
    memcpy(query->calibration.made_utc, record->made_utc, sizeof record->made_utc);
    query->elsewhere = record->elsewhere;
    if (query->found++ == 0) {
        memcpy(query->first_bench, record->bench, sizeof query->first_bench);
        query->benches = 0;
    }
    query->benches += query->found == 1 || strcmp(query->first_bench, record->bench) != 0;
    return true;
}

static bool is_trusted(const struct query *query) {
    bool trusted = false;
    return up_calibration_is_trusted(query->catalogue, query->calibration.id, &trusted, NULL) &&
           trusted;
}

static json_t *to_json(const struct query *query) {
    json_t *json = up_calibration_to_json(&query->calibration);
    json_object_set_new(json, "made_utc", json_string(query->calibration.made_utc));
    json_object_set_new(json, "elsewhere", json_boolean(query->elsewhere));
    json_object_set_new(json, "trusted", json_boolean(is_trusted(query)));
    return json;
}

static const char *origin(const struct query *query) {
    return is_trusted(query)  ? query->elsewhere ? "  " UP_ELSEWHERE_MARK " adopted" : ""
           : query->elsewhere ? "  " UP_ELSEWHERE_MARK " not adopted"
                              : "  not adopted";
}

static bool list_one(const struct up_record *record, void *context) {
    struct query *query = context;
    const struct up_calibration *calibration = &query->calibration;
    if (!read_match(record, query)) {
        return true;
    }
    if (query->list != NULL) {
        json_array_append_new(query->list, to_json(query));
        return true;
    }
    query->untrusted += !is_trusted(query);
    up_text_print(stdout, "%s  %s  %s%s\n", calibration->id, calibration->made_utc,
                  calibration->bench, origin(query));
    UP_FREED char *slope = slope_in_words(calibration->slope_counts_per_kg, query->style);
    char hysteresis[UP_SHOWN_SIZE];
    up_style_fine(query->style, calibration->hysteresis_kg * 1e3, hysteresis);
    bool tested = isfinite(calibration->hysteresis_kg);
    up_style_say(query->style, stdout, "  ", "%s, %u loadings up to %g kg, hysteresis %s%s%s",
                 slope, calibration->points, calibration->span_kg,
                 tested ? hysteresis + 1 : "not looked for", tested ? " " : "",
                 tested ? up_style_unit(query->style) : "");
    return true;
}

/* One of here goes before those of elsewhere, however they are called. */
static bool read_one(const struct up_record *record, void *context) {
    struct query *query = context;
    bool own_before = query->found > 0 && !query->elsewhere;
    if (fits(record, query) && !(record->elsewhere && own_before)) {
        query->found = own_before || record->elsewhere ? query->found : 0;
        read_match(record, query);
    }
    return true;
}

static bool list(struct call *call, struct query *query) {
    bool json = option_given(call, "json");
    query->list = json ? json_array() : NULL;
    bool good = up_catalogue_each(call->catalogue, "calibration", list_one, query, call->failure);
    if (good && json) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-calibrations-1", "calibrations",
                             query->list));
    } else if (good && query->untrusted > 0) {
        puts("not adopted: made in another folder or on another machine (" UP_ELSEWHERE_MARK
             ": " UP_ELSEWHERE_MEANING "); `upthrust calibration adopt ID` checks it");
    }
    json_decref(query->list);
    return good;
}

/* By its id or the unique beginning of one; else the newest of the bench. */
static bool find(struct call *call, struct query *query) {
    if (query->id != NULL && strlen(query->id) < 4) {
        return refuse(call, "calibration show %.8s: give at least four characters of the id",
                      query->id);
    }
    if (!up_catalogue_each(call->catalogue, "calibration", read_one, query, call->failure)) {
        return false;
    }
    if (query->found == 0) {
        return refuse(call, "there is no such calibration: `upthrust calibration list` shows all");
    }
    if (query->id != NULL) {
        return query->found == 1 ||
               refuse(call, "%u calibrations begin with %.40s: give more of the id", query->found,
                      query->id);
    }
    if (query->benches != 1) {
        return refuse(call, "there are calibrations of several benches: give --bench ID");
    }
    struct up_calibration latest;
    query->id = latest.id;
    query->found = 0;
    bool good =
        up_calibration_latest(call->catalogue, query->first_bench, &latest, call->failure) &&
        up_catalogue_each(call->catalogue, "calibration", read_one, query, call->failure);
    query->id = NULL;
    return good;
}

static bool show(struct call *call, struct query *query) {
    if (!find(call, query)) {
        return false;
    }
    if (option_given(call, "json")) {
        json_t *document = to_json(query);
        json_object_set_new(document, "schema", json_string("upthrust-calibration-1"));
        print_json(document);
    } else {
        print_calibration(&query->calibration, query->style);
        fputs(query->elsewhere ? UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING "\n" : "", stdout);
    }
    return true;
}

bool command_calibration(struct call *call) {
    const char *verb = call->words > 0 ? call->word[0] : "";
    bool showing = strcmp(verb, "show") == 0;
    if (strcmp(verb, "adopt") == 0 && call->words <= 2) {
        return adopt_calibration(call);
    }
    if ((!showing && strcmp(verb, "list") != 0) || call->words > (showing ? 2 : 1)) {
        return refuse(
            call, "calibration: give list, show with one id, or adopt (with an id, if there are "
                  "several) with --rig and --masses-g");
    }
    struct up_style style;
    if (!style_asked(call, &style) || !open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    UP_FREED struct query *query = up_allocate(1, sizeof *query);
    query->style = &style;
    query->catalogue = call->catalogue;
    query->bench = option_value(call, "bench");
    query->id = call->words > 1 ? call->word[1] : NULL;
    return showing ? show(call, query) : list(call, query);
}
