/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reference bodies: what is known of each, and how it went whenever one was weighed. */
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_body[] = {
    {"name", "TEXT", "add, edit: what people call it"},
    {"mass-g", "G", "add, edit: its true mass"},
    {"read-in-air", NULL, "add, edit: that mass is what a scale showed; the air's lift is added"},
    {"u-mass-g", "G", "add, edit: standard uncertainty of the mass"},
    {"volume-cm3", "V", "add, edit: its volume at 20 degrees C"},
    {"density-kg-m3", "D", "add, edit: or this, from which the volume follows"},
    {"u-volume-cm3", "V", "add, edit: standard uncertainty of the volume"},
    {"material", "NAME", "add, edit: what it is made of, for its expansion (default: none)"},
    {"expansion-per-k", "B", "add, edit: or this, of the volume"},
    {"u-expansion-per-k", "U", "add, edit: its standard uncertainty"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

enum { BENCH_COLUMNS = 14 };

/* Conventional air of a scale's adjustment (OIML D 28). */
static const double AIR_KG_M3 = 1.2;

/* ---- what was given ---- */

/* What was not given is left alone; a density makes a volume of the mass there then is. */
static bool read_given(struct call *call, struct up_reference *body) {
    double mass_g = body->mass_kg.value * 1e3, u_mass_g = body->mass_kg.u * 1e3;
    double volume_cm3 = body->volume_m3.value * 1e6, u_volume_cm3 = body->volume_m3.u * 1e6;
    double density_kg_m3 = 0;
    bool read = option_given(call, "read-in-air");
    if (option_given(call, "volume-cm3") && option_given(call, "density-kg-m3")) {
        return refuse(call, "body: give --volume-cm3 or --density-kg-m3, not both");
    }
    if (read && !option_given(call, "mass-g")) {
        return refuse(call, "body: --read-in-air needs --mass-g");
    }
    if (!option_text_value(call, "name", body->name) ||
        !option_number(call, "mass-g", 1, 1e5, &mass_g) ||
        !option_number(call, "u-mass-g", 0, 1e3, &u_mass_g) ||
        !option_number(call, "volume-cm3", 0.1, 1e5, &volume_cm3) ||
        !option_number(call, "density-kg-m3", 20, 25000, &density_kg_m3) ||
        !option_number(call, "u-volume-cm3", 0, 1e3, &u_volume_cm3) ||
        !take_material(call, &body->expansion_per_k, &body->u_expansion_per_k) ||
        !option_number(call, "expansion-per-k", 0, 0.01, &body->expansion_per_k) ||
        !option_number(call, "u-expansion-per-k", 0, 0.01, &body->u_expansion_per_k)) {
        return false;
    }
    double shown_kg = mass_g * 1e-3 * (1 - AIR_KG_M3 / UP_MASS_DENSITY_KG_M3);
    body->mass_kg = up_known(mass_g * 1e-3, u_mass_g * 1e-3);
    body->volume_m3 = up_known(volume_cm3 * 1e-6, u_volume_cm3 * 1e-6);
    if (density_kg_m3 > 0) {
        body->mass_kg.value = read ? shown_kg / (1 - AIR_KG_M3 / density_kg_m3) : mass_g * 1e-3;
        body->volume_m3.value = body->mass_kg.value / density_kg_m3;
    } else if (read) {
        body->mass_kg.value = shown_kg + AIR_KG_M3 * body->volume_m3.value;
    }
    return true;
}

/* ---- one in words ---- */

static void print_numbers(const struct up_reference *body, const struct up_style *style) {
    static const double CM3_PER_IN3 = 16.387064; /* 2.54 cubed */
    double volume_of = style->imperial ? 1e-6 * CM3_PER_IN3 : 1e-6;
    double k_of = style->imperial ? 1.8 : 1; /* degrees F in a kelvin */
    char density[UP_SHOWN_SIZE], warm[UP_SHOWN_SIZE];
    up_style_density(style, body->mass_kg.value / body->volume_m3.value, density);
    up_style_temp(style, 20, warm);
    printf("%s  ", body->id);
    up_text_put(stdout, body->name, 0, style->isolate);
    fputs(body->elsewhere ? "  " UP_ELSEWHERE_MARK : "", stdout);
    printf("\n  mass %.*f %s (u %.2g), volume %.4f %s (u %.2g),\n  density %s\n",
           style->imperial ? 4 : 3, up_style_in_unit(style, body->mass_kg.value * 1e3),
           up_style_unit(style), up_style_in_unit(style, body->mass_kg.u * 1e3),
           body->volume_m3.value / volume_of, style->imperial ? "in3" : "cm3",
           body->volume_m3.u / volume_of, density);
    if (body->expansion_per_k > 0 || body->u_expansion_per_k > 0) {
        printf("  volume at %s; it expands by %.3g 1/%s (u %.2g)\n", warm,
               body->expansion_per_k / k_of, style->imperial ? "F" : "K",
               body->u_expansion_per_k / k_of);
    }
}

static const char *verdict(const struct up_past_check *past) {
    return past->check.outside ? past->check.confirmed ? "outside, confirmed" : "outside"
           : past->in_limits   ? "inside"
                               : "inside, with other numbers";
}

static void print_check(const struct up_past_check *past, const struct up_style *style) {
    const struct up_reference_check *check = &past->check;
    char off[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE], low[UP_SHOWN_SIZE], high[UP_SHOWN_SIZE];
    up_style_fine(style, check->deviation_kg.value * 1e3, off);
    up_style_fine(style, check->deviation_kg.u * 1e3, u);
    up_style_fine(style, check->low_kg * 1e3, low);
    up_style_fine(style, check->high_kg * 1e3, high);
    printf("  %.10s %.5s  ", past->made_utc, past->made_utc + 11);
    up_text_put(stdout, past->bench, BENCH_COLUMNS, style->isolate);
    if (isfinite(check->deviation_kg.value)) {
        printf(" %8s %6s  %7s to %7s  %-5s %s", off, u + 1, low, high,
               check->by_history ? "chart" : "own u", verdict(past));
    } else {
        printf(" %8s %6s  %18s  %-5s %s", "-", "-", "", "", verdict(past));
    }
    puts(past->elsewhere ? "  " UP_ELSEWHERE_MARK : "");
}

static bool is_first_of_bench(const struct up_past_check *past, size_t at) {
    for (size_t i = 0; i < at; i++) {
        if (strcmp(past[i].bench, past[at].bench) == 0) {
            return false;
        }
    }
    return true;
}

static void print_chart(const char *bench, const struct up_chart *chart,
                        const struct up_style *style) {
    char centre[UP_SHOWN_SIZE], low[UP_SHOWN_SIZE], high[UP_SHOWN_SIZE];
    up_style_fine(style, chart->centre * 1e3, centre);
    up_style_fine(style, chart->low * 1e3, low);
    up_style_fine(style, chart->high * 1e3, high);
    fputs("  chart of ", stdout);
    up_text_put(stdout, bench, 0, style->isolate);
    if (chart->has_limits) {
        printf(": %zu checks, centre %s, limits %s to %s %s\n", chart->count, centre, low, high,
               up_style_unit(style));
    } else {
        printf(": %zu of the %d checks that make limits; until then by their own u\n", chart->count,
               UP_CHART_LEAST);
    }
}

static bool print_history(struct up_catalogue *catalogue, const struct up_reference *body,
                          const struct up_past_check *past, size_t count,
                          const struct up_style *style, struct up_failure *failure) {
    struct up_chart chart;
    if (count == 0) {
        puts("  not yet weighed in the tank: `upthrust measure --body` weighs it first");
        return true;
    }
    printf("  %-16s  %-*s %5s %2s %3s %2s  %15s %2s  %s\n", "checked (UTC)", BENCH_COLUMNS, "bench",
           "off", up_style_unit(style), "u", up_style_unit(style), "may be off",
           up_style_unit(style), "by");
    for (size_t i = 0; i < count; i++) {
        print_check(&past[i], style);
    }
    for (size_t i = 0; i < count; i++) {
        if (is_first_of_bench(past, i)) {
            if (!up_reference_chart(catalogue, body->id, past[i].bench, &chart, failure)) {
                return false;
            }
            print_chart(past[i].bench, &chart, style);
        }
    }
    return true;
}

/* ---- one in JSON ---- */

static json_t *body_to_json(const struct up_reference *body) {
    json_t *json = up_reference_to_json(body);
    json_object_set_new(json, "reference_id", json_string(body->id));
    json_object_set_new(json, "elsewhere", json_boolean(body->elsewhere));
    json_object_set_new(json, "density_kg_m3",
                        up_json_number(body->mass_kg.value / body->volume_m3.value));
    return json;
}

static json_t *checks_to_json(const struct up_past_check *past, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *json = up_reference_check_to_json(&past[i].check);
        json_object_update_new(json, json_pack("{s:s, s:s, s:s, s:b, s:b}", "made_utc",
                                               past[i].made_utc, "bench", past[i].bench, "run_id",
                                               past[i].run_id, "in_limits", past[i].in_limits,
                                               "elsewhere", past[i].elsewhere));
        json_array_append_new(list, json);
    }
    return list;
}

static json_t *charts_to_json(struct up_catalogue *catalogue, const struct up_reference *body,
                              const struct up_past_check *past, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        struct up_chart chart;
        if (is_first_of_bench(past, i) &&
            up_reference_chart(catalogue, body->id, past[i].bench, &chart, NULL)) {
            json_array_append_new(list, json_pack("{s:s, s:I, s:o, s:o, s:o, s:b}", "bench",
                                                  past[i].bench, "checks", (json_int_t)chart.count,
                                                  "centre_g", up_json_number(chart.centre * 1e3),
                                                  "low_g", up_json_number(chart.low * 1e3),
                                                  "high_g", up_json_number(chart.high * 1e3),
                                                  "has_limits", chart.has_limits));
        }
    }
    return list;
}

static bool print_body(struct call *call, const struct up_reference *body) {
    struct up_past_check *past;
    struct up_style style;
    size_t count;
    if (!style_asked(call, &style) ||
        !up_reference_checks(call->catalogue, body->id, NULL, &past, &count, call->failure)) {
        return false;
    }
    bool good = true;
    if (option_given(call, "json")) {
        json_t *json = body_to_json(body);
        json_object_set_new(json, "schema", json_string("upthrust-body-1"));
        json_object_set_new(json, "checks", checks_to_json(past, count));
        json_object_set_new(json, "charts", charts_to_json(call->catalogue, body, past, count));
        print_json(json);
    } else {
        print_numbers(body, &style);
        good = print_history(call->catalogue, body, past, count, &style, call->failure);
        bool any = body->elsewhere;
        for (size_t i = 0; i < count; i++) {
            any = any || past[i].elsewhere;
        }
        fputs(any ? UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING "\n" : "", stdout);
    }
    free(past);
    return good;
}

/* ---- the verbs ---- */

static bool add(struct call *call) {
    struct up_reference body = {.mass_kg = up_known(0, 0), .volume_m3 = up_known(0, 0)};
    return read_given(call, &body) && up_reference_add(call->catalogue, &body, call->failure) &&
           print_body(call, &body);
}

static bool find_named(struct call *call, const char *verb, struct up_reference *body) {
    if (call->words != 2) {
        return refuse(call, "body %s: give one name or id, in quotes if it contains spaces", verb);
    }
    return up_reference_find(call->catalogue, call->word[1], body, call->failure);
}

static bool edit(struct call *call) {
    struct up_reference body;
    return find_named(call, "edit", &body) && read_given(call, &body) &&
           up_reference_add(call->catalogue, &body, call->failure) && print_body(call, &body);
}

static bool show(struct call *call) {
    struct up_reference body;
    return find_named(call, "show", &body) && print_body(call, &body);
}

struct listing {
    json_t *json; /* NULL: in words */
    bool any_elsewhere;
    unsigned count;
    struct up_style style;
};

static bool list_one(const struct up_record *record, void *context) {
    struct listing *listing = context;
    struct up_reference body;
    if (!up_reference_from_json(record->content, &body)) {
        return true;
    }
    memcpy(body.id, record->subject, sizeof body.id);
    body.elsewhere = record->elsewhere;
    listing->any_elsewhere = listing->any_elsewhere || record->elsewhere;
    listing->count++;
    if (listing->json != NULL) {
        json_array_append_new(listing->json, body_to_json(&body));
    } else {
        print_numbers(&body, &listing->style);
    }
    return true;
}

static bool list(struct call *call) {
    bool json = option_given(call, "json");
    struct up_style style;
    if (!style_asked(call, &style)) {
        return false;
    }
    struct listing listing = {.json = json ? json_array() : NULL, .style = style};
    bool good = up_catalogue_each(call->catalogue, "reference", list_one, &listing, call->failure);
    if (good && json) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-bodies-1", "bodies", listing.json));
    } else if (good && listing.count == 0) {
        puts("no reference bodies yet: `upthrust body add` registers one");
    } else if (good && listing.any_elsewhere) {
        puts(UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING);
    }
    json_decref(listing.json);
    return good;
}

bool command_body(struct call *call) {
    static const struct verb verbs[] = {{"add", UP_CATALOGUE_CREATE, add},
                                        {"edit", UP_CATALOGUE_WRITE, edit},
                                        {"list", UP_CATALOGUE_READ, list},
                                        {"show", UP_CATALOGUE_READ, show}};
    return run_verb("body", verbs, sizeof verbs / sizeof verbs[0], call);
}
