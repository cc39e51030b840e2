/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A calibration in words, and those that the catalogue keeps. */
#include <stdlib.h>
#include <string.h>

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
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

/* ---- in words ---- */

static void print_stairs(const struct up_calibration *calibration) {
    unsigned top = calibration->stairs / 2;
    if (isnan(calibration->hysteresis_kg)) {
        up_text_paragraph(
            stdout, "",
            "hysteresis: not tested; the usual limit of data sheets is used, 0.05 % of the span");
        return;
    }
    printf("staircase%1s %9s %11s %11s\n", "", "rising g", "falling g", "apart g");
    for (unsigned i = 0; i <= top && i < calibration->stairs; i++) {
        const struct up_stair *up = &calibration->stair[i];
        const struct up_stair *down = &calibration->stair[calibration->stairs - 1 - i];
        double mass_g = up->mass_kg * 1e3;
        printf("%10.2f %+9.2f ", mass_g, up->residual_g);
        if (i < top) {
            printf("%+11.2f %+11.2f", down->residual_g, down->hysteresis_g);
        }
        putchar('\n');
    }
    printf("hysteresis %.2f g: the largest difference between falling and rising\n",
           calibration->hysteresis_kg * 1e3);
}

/* A scale that prints a unit shows about 1 for a kilogram; no converter has so few counts. */
static bool shows_kg(double slope_counts_per_kg) {
    return fabs(slope_counts_per_kg) < 10;
}

static void print_slope(double slope_counts_per_kg) {
    if (shows_kg(slope_counts_per_kg)) {
        printf("shows %.5f kg for a kilogram", slope_counts_per_kg);
    } else {
        printf("%.1f counts/g", slope_counts_per_kg * 1e-3);
    }
}

/* As the scale names it. */
static double step_g(const struct up_calibration *calibration) {
    double slope = calibration->slope_counts_per_kg;
    return 1e3 * calibration->division_counts / (shows_kg(slope) ? 1 : fabs(slope));
}

static void print_line(const struct up_calibration *calibration) {
    double slope = calibration->slope_counts_per_kg;
    double unloading = calibration->unloading_slope_counts_per_kg;
    bool taken_off = false;
    for (unsigned i = 0; i < calibration->points; i++) {
        taken_off = taken_off || calibration->point[i].mass_kg < 0;
    }
    if (!isnan(unloading)) {
        fputs("unloading has its own slope: ", stdout);
        print_slope(unloading);
        printf(", %+.3f %% off\n", (unloading / slope - 1) * 100);
    } else {
        puts(taken_off ? "unloading: no difference in slope was found"
                       : "unloading was not tested; the same slope is assumed");
    }
    if (calibration->quadratic_counts_per_kg2 != 0) {
        printf("the line bends: %+.3f g at %g kg against its slope (F %.1f, limit %.1f)\n",
               calibration->quadratic_counts_per_kg2 / slope * pow(calibration->span_kg, 2) * 1e3,
               calibration->span_kg, calibration->quadratic_f, calibration->quadratic_f_limit);
    } else if (isnan(calibration->quadratic_f)) {
        up_text_paragraph(
            stdout, "",
            "the line is taken as straight: too few or too coarse readings to look for a bend");
    } else {
        UP_FREED char *text = up_text_format(
            "the line is taken as straight: a bend %s (F %.1f, limit %.1f)",
            calibration->quadratic_f > calibration->quadratic_f_limit
                ? "is larger than scatter explains, but smaller than what remains of the "
                  "readings anyway"
                : "is no larger than scatter explains",
            calibration->quadratic_f, calibration->quadratic_f_limit);
        up_text_paragraph(stdout, "", text);
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

static void print_conditions(const struct up_calibration *calibration) {
    if (isnan(calibration->temp_c)) {
        printf("air temperature not known; ");
    } else {
        printf("air %.1f C; ", calibration->temp_c);
    }
    puts(isnan(calibration->preloaded) ? "preload not known"
         : calibration->preloaded != 0
             ? "preload done"
             : "preload skipped: the first loadings may read differently");
}

void print_calibration(const struct up_calibration *calibration) {
    double slope = calibration->slope_counts_per_kg;
    struct up_rounding rounding = up_calibration_rounding(calibration);
    up_text_print(stdout, "bench %s: ", calibration->bench);
    print_slope(slope);
    printf(", standard uncertainty %.3f %% of it (%.0f degrees of freedom)\n",
           fabs(calibration->u_slope_counts_per_kg / slope) * 100, calibration->dof);
    printf("%10s %12s %11s\n", "mass g", "reading g", "residual g");
    for (unsigned i = 0; i < calibration->points; i++) {
        const struct up_calibration_point *point = &calibration->point[i];
        printf("%+10.2f %+12.2f %+11.2f\n", point->mass_kg * 1e3,
               point->mass_kg * 1e3 + point->residual_g, point->residual_g);
    }
    print_stairs(calibration);
    print_line(calibration);
    printf("lack of fit %.2f g", calibration->lack_of_fit_kg * 1e3);
    if (rounding.lack_of_fit && calibration->lack_of_fit_kg > 0) {
        printf(", no more than the scale's steps of %.3g g explain", step_g(calibration));
    }
    printf("; zero offset %+.2f g (standard uncertainty %.2f g)\n",
           calibration->offset_counts / slope * 1e3,
           fabs(calibration->u_offset_counts / slope) * 1e3);
    if (calibration->window_s == 0) {
        puts("creep unknown: typed readings have no fixed timing");
    } else {
        printf("creep %+.3f %% of load per tenfold time; noise of one reading %.2f g\n",
               calibration->creep_rel_decade * 100, fabs(calibration->noise_counts / slope) * 1e3);
    }
    print_masses(calibration);
    print_conditions(calibration);
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
static bool print_remedies(const struct up_calibration *calibration, double at_span_g) {
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
        printf("The scale's steps of %.3g g limit this%s.\n"
               "What helps: a scale of finer steps; more rounds with more different masses.\n",
               step_g(calibration), any ? " too" : ": nothing shows a fault of masses or bench");
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
    up_text_print(stdout, "bench %s: ", calibration->bench);
    print_slope(calibration->slope_counts_per_kg);
    char *verdict = up_text_format(
        "%s: this calibration is known to %.1f g at 100 g and %.1f g at %g kg (95 %%).%s",
        up_calibration_verdict(calibration), least_g, span_g, calibration->span_kg, steps);
    char *shown = up_style_text(style, verdict);
    putchar('\n');
    up_text_lines(stdout, "", shown, style->columns);
    free(shown);
    free(verdict);
    bool mendable = print_remedies(calibration, span_g);
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
    unsigned found, benches, untrusted;
    char first_bench[UP_NAME_SIZE];
    struct up_calibration calibration; /* the latest looked at */
    bool elsewhere;                    /* it came from there */
    struct up_catalogue *catalogue;
};

static bool read_match(const struct up_record *record, struct query *query) {
    if ((query->bench != NULL && strcmp(query->bench, record->bench) != 0) ||
        (query->id != NULL && strncmp(record->id, query->id, strlen(query->id)) != 0) ||
        !up_calibration_from_json(record->content, &query->calibration)) {
        return false;
    }
    memcpy(query->calibration.id, record->id, sizeof record->id);
    memcpy(query->calibration.made_utc, record->made_utc, sizeof record->made_utc);
    query->elsewhere = record->elsewhere;
    if (query->found++ == 0) {
        memcpy(query->first_bench, record->bench, sizeof query->first_bench);
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
    fputs("  ", stdout);
    print_slope(calibration->slope_counts_per_kg);
    printf(", %u loadings up to %g kg, ", calibration->points, calibration->span_kg);
    if (isnan(calibration->hysteresis_kg)) {
        puts("hysteresis not looked for");
    } else {
        printf("hysteresis %.2f g\n", calibration->hysteresis_kg * 1e3);
    }
    return true;
}

static bool read_one(const struct up_record *record, void *context) {
    read_match(record, context);
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
             ": " UP_ELSEWHERE_MEANING "); `upthrust calibration adopt` checks it");
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
    return up_calibration_latest(call->catalogue, query->first_bench, &latest, call->failure) &&
           up_catalogue_each(call->catalogue, "calibration", read_one, query, call->failure);
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
        print_calibration(&query->calibration);
        fputs(query->elsewhere ? UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING "\n" : "", stdout);
    }
    return true;
}

bool command_calibration(struct call *call) {
    const char *verb = call->words > 0 ? call->word[0] : "";
    bool showing = strcmp(verb, "show") == 0;
    if (strcmp(verb, "adopt") == 0 && call->words == 1) {
        return adopt_calibration(call);
    }
    if ((!showing && strcmp(verb, "list") != 0) || call->words > (showing ? 2 : 1)) {
        return refuse(
            call, "calibration: give list, show with one id, or adopt with --rig and --masses-g");
    }
    if (!open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    UP_FREED struct query *query = up_allocate(1, sizeof *query);
    query->catalogue = call->catalogue;
    query->bench = option_value(call, "bench");
    query->id = call->words > 1 ? call->word[1] : NULL;
    return showing ? show(call, query) : list(call, query);
}
