/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit's report in words: cautions first, never one number for the lead. */
#include <math.h>
#include <string.h>

#include "kit/report.h"
#include "text/text.h"

static const char CAUTION[] =
    "This prepares a weight check in the water with a qualified instructor; it never replaces "
    "one.\n"
    "It plans neither gas nor ascent. Change lead in small steps, and check in the water each "
    "time.\n"
    "How much lead must be ditchable, and what reserve is kept, your agency and instructor say.\n";

static double of(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static const char *word(const json_t *object, const char *key) {
    const char *value = json_string_value(json_object_get(object, key));
    return value != NULL ? value : "";
}

/* Never towards less lead: the upper end is rounded up, the lower end up as well. */
static double up_to_tenth(double kg) {
    return ceil(kg * 10 - 1e-9) / 10;
}

static void print_lead(const json_t *report, FILE *stream) {
    size_t i;
    json_t *row;
    fprintf(stream, "\nLead to add to what is entered (minus: more than needed), 95 %% interval.\n"
                    "The nearly empty stop governs.\n");
    json_array_foreach(json_object_get(report, "lead"), i, row) {
        const json_t *lead = json_object_get(row, "lead_to_add");
        double low_kg = up_to_tenth(of(lead, "low_kg")), high_kg = up_to_tenth(of(lead, "high_kg"));
        fprintf(stream, "  %-24s %4.0f m %4.0f bar   from %+.1f to %+.1f kg\n", word(row, "when"),
                of(row, "depth_m"), of(row, "pressure_bar"), low_kg, high_kg);
        if (high_kg < 0) {
            fprintf(stream,
                    "    lead to take off: check in the water before you leave any at home\n");
        }
    }
    const json_t *water = json_object_get(report, "other_water");
    const json_t *change = json_object_get(water, "lead_to_add");
    fprintf(
        stream,
        "  from the last check's water (%.1f kg/m3) to this one (%.1f): from %+.1f to %+.1f kg\n",
        of(water, "from_kg_m3"), of(water, "to_kg_m3"), up_to_tenth(of(change, "low_kg")),
        up_to_tenth(of(change, "high_kg")));
}

static void print_lift(const json_t *lift, FILE *stream) {
    double value_kg = of(lift, "value_kg");
    fprintf(stream, "%+5.1f kg %-4s (%+.1f to %+.1f)\n", value_kg, value_kg >= 0 ? "UP" : "DOWN",
            of(lift, "low_kg"), of(lift, "high_kg"));
}

static void print_dive(const json_t *report, FILE *stream) {
    size_t i;
    json_t *row;
    fprintf(stream, "\nThrough the dive, jacket empty, breathing normally:\n");
    json_array_foreach(json_object_get(report, "dive"), i, row) {
        fprintf(stream, "  %-32s %4.0f m %4.0f bar  ", word(row, "when"), of(row, "depth_m"),
                of(row, "pressure_bar"));
        print_lift(json_object_get(row, "lift"), stream);
    }
}

static void print_worst(const json_t *report, FILE *stream) {
    size_t i;
    json_t *row;
    double jacket_kg = of(report, "jacket_lift_kg");
    fprintf(stream, "\nThe worst cases (bounds that hold in 99.5 of 100):\n");
    json_array_foreach(json_object_get(report, "worst_cases"), i, row) {
        const json_t *lift = json_object_get(row, "lift");
        double least_kg = of(lift, "least_kg"), most_kg = of(lift, "most_kg");
        fprintf(stream, "  %s:\n    from %+.1f to %+.1f kg", word(row, "case"), least_kg, most_kg);
        if (i == 0) {
            fprintf(stream,
                    isnan(jacket_kg)         ? "; the jacket's lift is not entered"
                    : -least_kg <= jacket_kg ? "; the jacket's %.1f kg carry that"
                                             : "; MORE than the jacket's %.1f kg can carry",
                    jacket_kg);
        } else if (strstr(word(row, "case"), "surface") != NULL) {
            fprintf(stream, least_kg > 0 ? "; floats" : most_kg < 0 ? "; SINKS" : "; may sink");
        }
        fputc('\n', stream);
    }
}

static void print_cylinders(const json_t *report, FILE *stream) {
    size_t i, k;
    json_t *row, *at;
    json_array_foreach(json_object_get(report, "cylinders"), i, row) {
        double turning_bar = of(row, "floats_below_bar");
        fputs("\nCylinder ", stream);
        up_text_put(stream, word(row, "name"), 0, true);
        fputs(":\n", stream);
        json_array_foreach(json_object_get(row, "lifts"), k, at) {
            fprintf(stream, "  at %3.0f bar  ", of(at, "pressure_bar"));
            print_lift(json_object_get(at, "lift"), stream);
        }
        fprintf(stream,
                isnan(turning_bar) ? "  it sinks even when empty\n"
                                   : "  it floats below about %.0f bar\n",
                turning_bar);
    }
}

static void print_moments(const json_t *report, FILE *stream) {
    size_t i;
    json_t *row;
    if (json_array_size(json_object_get(report, "moments")) == 0) {
        return;
    }
    fprintf(stream,
            "\nTrim, about the hips, at the stop with the reserve (+ lifts the head's side).\n"
            "A breath alone makes %.1f N m; compare differences, not sums.\n",
            of(report, "breath_moment_nm"));
    json_array_foreach(json_object_get(report, "moments"), i, row) {
        const json_t *moment = json_object_get(row, "moment");
        fprintf(stream, "  %+6.1f +- %.1f N m at %+.2f m  ", of(moment, "value_nm"),
                (of(moment, "high_nm") - of(moment, "low_nm")) / 2, of(row, "place_m"));
        up_text_put(stream, word(row, "name"), 0, true);
        fputc('\n', stream);
    }
}

static void print_predictions(const json_t *report, FILE *stream) {
    const json_t *record = json_object_get(report, "predictions");
    double agree = of(report, "checks_agree");
    if (agree < 0.01) {
        fprintf(stream,
                "\nThe weight checks contradict each other (chance would do it in %.2g %% of "
                "cases).\nLook for air in suit or jacket, a wrong pressure, lead that is not "
                "what it says.\n",
                agree * 100);
    }
    if (of(record, "of") > 0) {
        fprintf(stream,
                "\n"
                "Each check compared with what the checks before it predicted: %.0f of %.0f inside "
                "the 95 %% interval%s.\n",
                of(record, "inside"), of(record, "of"),
                json_is_true(json_object_get(record, "enough")) ? "" : ", too few for a verdict");
    }
}

static void print_rules(const json_t *report, FILE *stream) {
    size_t i;
    json_t *row;
    fprintf(stream, "\nWhat the answer hangs on most, and so what to measure next:\n");
    json_array_foreach(json_object_get(report, "rules"), i, row) {
        if (of(row, "share") >= 0.02) {
            fprintf(stream, "  %3.0f %%  ", 100 * of(row, "share"));
            up_text_put(stream, word(row, "input"), 0, true);
            fputc('\n', stream);
        }
    }
}

void up_kit_report_print(const json_t *report, FILE *stream) {
    const json_t *water = json_object_get(report, "water");
    fputs(CAUTION, stream);
    fputs("\nIn the water ", stream);
    up_text_put(stream, word(water, "name"), 0, true);
    fprintf(stream, ", %.1f kg/m3:\n", of(water, "density_kg_m3"));
    print_lead(report, stream);
    print_dive(report, stream);
    print_worst(report, stream);
    print_cylinders(report, stream);
    print_moments(report, stream);
    print_predictions(report, stream);
    print_rules(report, stream);
    fputs("\nA weight check in the water decides.\n", stream);
}
