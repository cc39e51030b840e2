/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A kit's report in words: cautions first, never one number for the lead. */
#include <math.h>

#include "kit/report.h"
#include "text/text.h"

static const char CAUTION[] =
    "This prepares a weight check in the water with a qualified instructor; it never replaces "
    "one.\n"
    "It plans neither gas nor ascent. Change lead in small steps, and check in the water each "
    "time.\n"
    "How much lead must be ditchable, and what reserve is kept, your agency and instructor say.\n"
    "A check: hang motionless at a known depth, jacket empty, once trapped air has left. Judge it "
    "over\n"
    "several normal breaths. Never hold your breath under water: it can injure the lungs.\n";

/* Columns of a name in a table, and rows of one on the diver's page. */
enum { NAME_COLUMNS = 28, PAGE_ROWS = 12 };

/* A choice of ours: of so many, one in forty lies beyond either end, give or take one in a
   hundred. */
static const double EFFECTIVE_LEAST = 400;

/* The rows of a list, one after the other; `break` ends none. */
#define EACH(row, list)                                                                            \
    for (size_t i = 0; i < json_array_size(list); i++)                                             \
        for (const json_t *row = json_array_get(list, i), *once = row; once != NULL; once = NULL)

static double of(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static const char *word(const json_t *object, const char *key) {
    const char *value = json_string_value(json_object_get(object, key));
    return value != NULL ? value : "";
}

/* A name of the report between words of ours. */
static void put_named(FILE *stream, const char *before, const json_t *row, const char *key,
                      int columns, const char *after) {
    fputs(before, stream);
    up_text_put(stream, word(row, key), columns, true);
    fputs(after, stream);
}

/* Never towards less lead: the upper end is rounded up, the lower end up as well. */
static double up_to_tenth(double kg) {
    return ceil(kg * 10 - 1e-9) / 10 + 0.0;
}

static void print_lead_range(const json_t *lead, FILE *stream) {
    fprintf(stream, "from %+.1f to %+.1f kg", up_to_tenth(of(lead, "low_kg")),
            up_to_tenth(of(lead, "high_kg")));
}

static void print_lead(const json_t *report, FILE *stream) {
    fprintf(
        stream,
        "\nLead to add to the %.1f kg that are entered, %.1f kg of it ditchable (minus: more than "
        "needed).\n95 %% interval. The nearly empty stop governs.\n",
        of(report, "lead_entered_kg"), of(report, "ditchable_kg"));
    EACH(row, json_object_get(report, "lead")) {
        const json_t *lead = json_object_get(row, "lead_to_add");
        fprintf(stream, "  %-24s %4.0f m %4.0f bar   ", word(row, "when"), of(row, "depth_m"),
                of(row, "pressure_bar"));
        print_lead_range(lead, stream);
        fputs(of(lead, "low_kg") < 0 ? "; check in the water before you take any off\n" : "\n",
              stream);
    }
    const json_t *water = json_object_get(report, "other_water");
    fprintf(stream, "  from the last check's water (%.1f kg/m3) to this one (%.1f): ",
            of(water, "from_kg_m3"), of(water, "to_kg_m3"));
    print_lead_range(json_object_get(water, "lead_to_add"), stream);
    fputc('\n', stream);
}

/* Rounded down, so that no more is called too much than is. */
static void print_surplus(const json_t *report, FILE *stream) {
    const json_t *of_it = json_object_get(report, "surplus");
    double low_kg = fmax(floor(of(of_it, "low_kg") * 10) / 10, 0);
    double high_kg = floor(of(of_it, "high_kg") * 10) / 10;
    fprintf(
        stream,
        "\nEach kilogram of lead too much costs the jacket %.2f l of gas. That gas moves the lift "
        "by\n%.0f g a metre of depth at the stop, %.0f at the surface, %.0f at the deepest point; "
        "a "
        "breath\nmoves about %.0f g. Many divers carry too much.\n",
        of(of_it, "gas_per_kg_l"), of(of_it, "at_stop_g_per_m"), of(of_it, "at_surface_g_per_m"),
        of(of_it, "at_deepest_g_per_m"), of(of_it, "breath_g"));
    if (high_kg > 0) {
        fprintf(stream,
                "Here from %.1f to %.1f kg may be too much: up to %.1f l, %.0f g a metre at the "
                "stop.\n",
                low_kg, high_kg, high_kg * of(of_it, "gas_per_kg_l"),
                high_kg * of(of_it, "at_stop_g_per_m"));
    }
}

/* As it is shown, without the minus of what rounds to nothing. */
static double to_tenth(double kg) {
    return round(kg * 10) / 10 + 0.0;
}

static void print_lift(const json_t *lift, FILE *stream) {
    double value_kg = to_tenth(of(lift, "value_kg"));
    fprintf(stream, "%+5.1f kg %-4s (%+.1f to %+.1f)\n", value_kg,
            value_kg > 0   ? "UP"
            : value_kg < 0 ? "DOWN"
                           : "",
            to_tenth(of(lift, "low_kg")), to_tenth(of(lift, "high_kg")));
}

static void print_dive(const json_t *report, FILE *stream) {
    fprintf(stream, "\nThrough the dive, jacket empty, breathing normally:\n");
    EACH(row, json_object_get(report, "dive")) {
        fprintf(stream, "  %-32s %4.0f m %4.0f bar  ", word(row, "when"), of(row, "depth_m"),
                of(row, "pressure_bar"));
        print_lift(json_object_get(row, "lift"), stream);
    }
}

/* Bounds are rounded outwards. */
static void print_worst(const json_t *report, FILE *stream) {
    double jacket_kg = of(report, "jacket_lift_kg"), needs_kg = of(report, "jacket_needs_kg");
    fprintf(stream, "\nThe worst cases, lead as entered (bounds that hold in 99.5 of 100):\n");
    EACH(row, json_object_get(report, "worst_cases")) {
        const json_t *lift = json_object_get(row, "lift");
        double least_kg = floor(of(lift, "least_kg") * 10) / 10 + 0.0;
        double most_kg = up_to_tenth(of(lift, "most_kg"));
        fprintf(stream, "  %s:\n    from %+.1f to %+.1f kg", word(row, "case"), least_kg, most_kg);
        if (i == 0) {
            fprintf(stream,
                    isnan(jacket_kg) ? "; the jacket's lift is not entered"
                    : needs_kg <= jacket_kg
                        ? "; the jacket's %.1f kg carry that, and the lead to add"
                        : "; with the lead to add MORE than the jacket's %.1f kg "
                          "can carry",
                    jacket_kg);
        } else {
            static const char *const words[2][3] = {{"; floats", "; SINKS", "; may sink"},
                                                    {"; RISES", "; stays down", "; may rise"}};
            fputs(words[of(row, "depth_m") > 0][least_kg > 0 ? 0 : most_kg < 0 ? 1 : 2], stream);
        }
        fputc('\n', stream);
    }
    if (!(of(report, "ditchable_kg") > 0)) {
        fputs("  No lead is entered as ditchable, so none is dropped or lost in these.\n", stream);
    }
}

static void print_cylinders(const json_t *report, FILE *stream) {
    size_t i, k;
    json_t *row, *at;
    json_array_foreach(json_object_get(report, "cylinders"), i, row) {
        double surely_bar = of(row, "surely_below_bar"), perhaps_bar = of(row, "perhaps_below_bar");
        put_named(stream, "\nCylinder ", row, "name", 0, ":\n");
        json_array_foreach(json_object_get(row, "lifts"), k, at) {
            fprintf(stream, "  at %3.0f bar  ", of(at, "pressure_bar"));
            print_lift(json_object_get(at, "lift"), stream);
        }
        if (!(perhaps_bar > 0)) {
            fputs("  it sinks even when empty\n", stream);
        } else if (!(surely_bar > 0)) {
            fprintf(stream, "  it may float below %.0f bar\n", perhaps_bar);
        } else {
            fprintf(stream, "  it turns positive between %.0f and %.0f bar, and floats below\n",
                    perhaps_bar, surely_bar);
        }
    }
}

static void print_moment(const json_t *moment, FILE *stream) {
    fprintf(stream, "%+6.1f +- %.1f N m", of(moment, "value_nm"),
            (of(moment, "high_nm") - of(moment, "low_nm")) / 2);
}

static void print_moments(const json_t *report, size_t most, FILE *stream) {
    size_t i;
    json_t *row, *list = json_object_get(report, "moments");
    fprintf(stream,
            "\nTrim about the hips at the stop with the reserve: + lifts the head, - the feet.\n"
            "A breath alone makes %.1f N m; compare differences, not sums.\n",
            of(report, "breath_moment_nm"));
    json_array_foreach(list, i, row) {
        if (i == most) {
            fprintf(stream, "  %zu more: see `upthrust kit report`\n", json_array_size(list) - i);
            break;
        }
        put_named(stream, "  ", row, "name", NAME_COLUMNS, "");
        if (json_is_null(json_object_get(row, "moment"))) {
            fputs("  its place is missing: give place_m\n", stream);
        } else {
            print_moment(json_object_get(row, "moment"), stream);
            fprintf(stream, " at %+.2f m\n", of(row, "place_m"));
        }
    }
}

/* ---- spares and moves ---- */

static void print_swap(const json_t *row, const char *what, const json_t *present, FILE *stream) {
    const json_t *lift = json_object_get(row, "lift"), *moment = json_object_get(row, "moment");
    const json_t *off = json_object_get(row, "off_level");
    double nearer_nm = fabs(of(present, "value_nm")) - fabs(of(off, "value_nm"));
    double cm = of(row, "one_kg_of_lead_towards_feet_m") * 100;
    put_named(stream, "  ", row, "name", NAME_COLUMNS, "");
    fprintf(stream, " %s %+.0f g (%+.0f to %+.0f); lead ", what, of(lift, "value_kg") * 1e3,
            of(lift, "low_kg") * 1e3, of(lift, "high_kg") * 1e3);
    print_lead_range(json_object_get(row, "lead_to_add"), stream);
    fputs("\n    ", stream);
    if (json_is_null(moment)) {
        fputs("no moment: its place is missing\n", stream);
        return;
    }
    print_moment(moment, stream);
    fprintf(stream, ", like moving 1 kg of lead %.0f cm towards the %s\n", fabs(cm),
            cm >= 0 ? "feet" : "head");
    if (!isnan(nearer_nm)) {
        fputs("    ", stream);
        print_moment(off, stream);
        fprintf(stream, " off level, %.1f N m %s than with the present fins\n", fabs(nearer_nm),
                nearer_nm >= 0 ? "nearer" : "farther");
    }
}

static void print_fins(const json_t *report, FILE *stream) {
    const json_t *fins = json_object_get(report, "fins"), *others = json_object_get(fins, "others");
    const json_t *present = json_object_get(fins, "off_level");
    if (json_array_size(others) > 0) {
        put_named(stream, "\nOther fins in place of ", fins, "present", 0, "");
        fprintf(stream, ", as differences. A breath alone makes %.1f N m.\n",
                of(report, "breath_moment_nm"));
        if (json_is_null(present)) {
            fputs("How far the diver is from level is not known: a weight check shows force, not "
                  "moment. Mark a\ncheck in which the diver hung level with \"level\": true, and "
                  "give all places.\n",
                  stream);
        } else {
            put_named(
                stream, "Level was seen in ", fins, "level_seen_in", 0,
                "; at the stop with the reserve, with the present fins and the lead\nentered: ");
            print_moment(present, stream);
            fputs(" off it\n", stream);
        }
    }
    EACH(row, others) {
        print_swap(row, "at the feet", present, stream);
    }
    if (of(fins, "left_out") > 0) {
        fprintf(
            stream,
            "  left out: %.0f whose results count only where \"accept\" names why, whose volume is "
            "unknown,\n  or for which the kit has no room\n",
            of(fins, "left_out"));
    }
}

static void print_swaps(const json_t *report, FILE *stream) {
    EACH(row, json_object_get(report, "swaps")) {
        put_named(stream, "\nInstead of ", row, "instead_of", 0, ":\n");
        print_swap(row, "lifts", NULL, stream);
    }
    EACH(row, json_object_get(report, "models")) {
        put_named(stream, "\nKnown by its model only: ", row, "name", 0, "");
        fprintf(stream, ", %.0f sample%s, so +- %.0f g\n", of(row, "samples"),
                up_text_plural((unsigned)of(row, "samples")), 1960 * of(row, "u_kg"));
    }
}

static void print_moves(const json_t *report, FILE *stream) {
    const json_t *list = json_object_get(report, "moves");
    if (json_array_size(list) > 0) {
        fputs("\nMoves of lead (ditchable lead stays ditchable):\n", stream);
    }
    EACH(row, list) {
        fputs("  ", stream);
        print_moment(json_object_get(row, "moment"), stream);
        fprintf(stream, "  %.1f kg from ", of(row, "kg"));
        up_text_put(stream, word(row, "from"), 0, true);
        put_named(stream, " to ", row, "to", 0, "\n");
    }
    if (json_array_size(list) == UP_KIT_MOVES_MAX) {
        fputs("  No more are shown: list those you want under \"moves\" in the kit file.\n",
              stream);
    }
}

/* ---- how good all this is ---- */

static void print_predictions(const json_t *report, FILE *stream) {
    const json_t *record = json_object_get(report, "predictions");
    if (!(of(record, "of") > 0)) {
        return;
    }
    fputs("\nEach check compared with what the checks before it predicted (it found 0 kg):\n",
          stream);
    EACH(row, json_object_get(record, "checks")) {
        const json_t *lift = json_object_get(row, "lift_predicted");
        put_named(stream, "  ", row, "check", NAME_COLUMNS, "");
        fprintf(stream, " predicted %+.1f to %+.1f kg: %s\n", of(lift, "low_kg"),
                of(lift, "high_kg"),
                json_is_true(json_object_get(row, "inside")) ? "inside" : "OUTSIDE");
    }
    fprintf(stream,
            "  %.0f of %.0f inside the 95 %% interval; in the long run %.0f to %.0f of 100 (95 %%, "
            "binomial): ",
            of(record, "inside"), of(record, "of"), 100 * of(record, "share_low"),
            100 * of(record, "share_high"));
    fprintf(stream, "%s\n",
            json_is_null(json_object_get(record, "verdict")) ? "too few for a verdict"
                                                             : word(record, "verdict"));
}

static void print_rules(const json_t *report, FILE *stream) {
    const json_t *list = json_object_get(report, "rules");
    fprintf(stream, "\nWhat the lead depends on most:\n");
    EACH(row, list) {
        if (of(row, "share") >= 0.02) {
            fprintf(stream, "  %3.0f %%  ", 100 * of(row, "share"));
            up_text_put(stream, word(row, "input"), 0, true);
            fputc('\n', stream);
        }
    }
    fprintf(stream, "  next: %s\n", word(json_array_get(list, 0), "measure"));
}

static void print_head(const json_t *report, FILE *stream) {
    const json_t *water = json_object_get(report, "water");
    double agree = of(report, "checks_agree");
    fputs(CAUTION, stream);
    if (agree < 0.01) {
        fprintf(
            stream,
            "\nTHE WEIGHT CHECKS CONTRADICT EACH OTHER (by chance in %.2g %% of cases): trust no "
            "number "
            "below.\nLook for air in suit or jacket, a wrong pressure, lead that is not what it "
            "says.\n",
            agree * 100);
    }
    if (of(report, "effective_draws") < EFFECTIVE_LEAST) {
        fprintf(stream,
                "\nROUGH: only %.0f of the simulated divers fit these checks, so the ends of each "
                "range\nare not well known. Look through what was entered for the checks, and do "
                "one more.\n",
                of(report, "effective_draws"));
    }
    put_named(stream, "\nIn the water ", water, "name", 0, "");
    fprintf(stream, ", %.1f kg/m3, under air of %.0f hPa:\n", of(water, "density_kg_m3"),
            of(report, "air_pressure_hpa"));
    print_lead(report, stream);
}

void up_kit_report_print(const json_t *report, bool page, FILE *stream) {
    static void (*const more[])(const json_t *report, FILE *stream) = {
        print_surplus, print_cylinders, print_fins,       print_swaps,
        print_moves,   print_rules,     print_predictions};
    print_head(report, stream);
    print_dive(report, stream);
    print_worst(report, stream);
    print_moments(report, page ? PAGE_ROWS : SIZE_MAX, stream);
    for (size_t i = 0; !page && i < sizeof more / sizeof *more; i++) {
        more[i](report, stream);
    }
    fputs("\nA weight check in the water decides.\n", stream);
}
