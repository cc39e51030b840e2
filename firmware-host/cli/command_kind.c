/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Kinds of gear: the tolerance that is set for each, and what the benches have learned of it. */
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "text/text.h"

const struct option_text options_kind[] = {
    {"tolerance-g", "G", "set: one piece of this kind is neutral within this"},
    {"tolerance-pair-g", "G", "set: a pair of this kind is neutral within this"},
    {"stuck-share", "SHARE", "set: of its trapped air this share may stay through all shakes"},
    {"stuck-g", "G", "set: air may stay in it that lifts by this, whatever shaking frees"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

enum { NAME_COLUMNS = 12 };
static const double STUCK_MOST_G = 5000; /* a choice of ours: more lifts a diver */

/* ---- JSON ---- */

static json_t *number_or_null(double value, bool is_known) {
    return is_known && isfinite(value) ? json_real(value) : json_null();
}

/* As the table of kinds has it. */
static const char *gas_of(const struct up_kind *kind) {
    return up_kind_facts(kind->name)->holds_gas == UP_GAS_NO ? "no" : "asked";
}

static void put_stuck(json_t *json, const struct up_kind *kind) {
    json_object_set_new(json, "stuck_share",
                        number_or_null(kind->stuck_share, kind->stuck_share > 0));
    json_object_set_new(json, "stuck_g", number_or_null(kind->stuck_g, kind->stuck_g > 0));
}

/* Not learned is null. */
static json_t *kind_to_json(const struct up_kind *kind) {
    const struct up_quantity *one = &kind->repeatability_kg, *pair = &kind->repeatability_pair_kg;
    bool shaken = kind->share.shares > 0;
    json_t *json = json_pack(
        "{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:I, s:i, s:i}", "name", kind->name,
        "bench", kind->bench, "tolerance_one_g",
        number_or_null(kind->tolerance_one_g, kind->tolerance_one_g > 0), "tolerance_pair_g",
        number_or_null(kind->tolerance_pair_g, kind->tolerance_pair_g > 0), "repeatability_one_g",
        number_or_null(one->u * 1e3, one->dof > 0), "repeatability_one_dof",
        number_or_null(one->dof, one->dof > 0), "repeatability_pair_g",
        number_or_null(pair->u * 1e3, pair->dof > 0), "repeatability_pair_dof",
        number_or_null(pair->dof, pair->dof > 0), "shake_share",
        number_or_null(kind->share.mean.value, shaken), "shake_share_at_least",
        number_or_null(kind->share.at_least, shaken), "shares", (json_int_t)kind->share.shares,
        "items", (int)kind->items, "runs", (int)kind->runs);
    put_stuck(json, kind);
    json_object_set_new(json, "holds_gas", json_string(gas_of(kind)));
    return json;
}

/* ---- words ---- */

static void put_tolerance(double tolerance_g, const struct up_style *style) {
    if (tolerance_g > 0) {
        printf(" %4.4g", round(up_style_in_unit(style, tolerance_g) * 100) / 100);
    } else {
        printf(" %4s", "-");
    }
}

static void put_repeatability(const struct up_quantity *repeatability_kg,
                              const struct up_style *style) {
    char text[400] = "-", u[UP_SHOWN_SIZE];
    if (repeatability_kg->dof > 0) {
        up_style_fine(style, repeatability_kg->u * 1e3, u);
        snprintf(text, sizeof text, "%s (%.0f)", u + 1, repeatability_kg->dof);
    }
    printf(" %11s", text);
}

static void print_kind(const struct up_kind *kind, const struct up_style *style) {
    char counts[32];
    up_text_put(stdout, kind->name, NAME_COLUMNS, style->isolate);
    put_tolerance(kind->tolerance_one_g, style);
    put_tolerance(kind->tolerance_pair_g, style);
    printf(" %-3s ", strcmp(gas_of(kind), "no") == 0 ? "no" : "ask");
    up_text_put(stdout, kind->bench[0] != '\0' ? kind->bench : "-", NAME_COLUMNS, style->isolate);
    snprintf(counts, sizeof counts, "%u/%u", kind->items, kind->runs);
    printf(" %6s", counts);
    put_repeatability(&kind->repeatability_kg, style);
    put_repeatability(&kind->repeatability_pair_kg, style);
    if (kind->share.shares > 0) {
        printf(" %.0f%% (%zu)\n", kind->share.at_least * 100, kind->share.shares);
    } else {
        puts(" -");
    }
}

static void print_kinds(const struct up_kind *kinds, size_t count, const struct up_style *style) {
    const char *unit = up_style_unit(style);
    char one[UP_SHOWN_SIZE], pair[UP_SHOWN_SIZE];
    if (count == 0) {
        puts("no kinds yet: `upthrust item add --kind` or `upthrust kind set` names one");
        return;
    }
    printf("%-*s %4s %4s %-3s %-*s %6s %11s %11s %s\n", NAME_COLUMNS, "kind", "one", "pair", "gas",
           NAME_COLUMNS, "bench", "weighed", "sd one", "sd pair", "shake");
    for (size_t i = 0; i < count; i++) {
        print_kind(&kinds[i], style);
    }
    up_style_lead(style, UP_TOLERANCE_ONE_G, one);
    up_style_lead(style, UP_TOLERANCE_PAIR_G, pair);
    printf("one, pair: the tolerance of one piece and of a pair, %s (-: %s, %s)\n"
           "gas: whether `item add` asks if such an item holds gas\n"
           "weighed: items and runs on this bench\n"
           "sd: standard deviation of one trial, %s (degrees of freedom)\n"
           "shake: one frees at least this share of the air, 95 %% (shakes measured)\n",
           unit, one, pair, unit);
}

/* ---- the verbs ---- */

static bool list(struct call *call) {
    struct up_style style;
    struct up_kind *kinds;
    size_t count;
    if (!style_asked(call, &style) ||
        !up_kinds_learn(call->catalogue, &kinds, &count, call->failure)) {
        return false;
    }
    if (option_given(call, "json")) {
        json_t *list = json_array();
        for (size_t i = 0; i < count; i++) {
            json_array_append_new(list, kind_to_json(&kinds[i]));
        }
        print_json(json_pack("{s:s, s:o}", "schema", "upthrust-kinds-1", "kinds", list));
    } else {
        print_kinds(kinds, count, &style);
    }
    free(kinds);
    return true;
}

static void print_set(const struct up_kind *kind, const struct up_style *style, bool json) {
    if (json) {
        json_t *set = json_pack(
            "{s:s, s:s, s:o, s:o}", "schema", "upthrust-kind-1", "name", kind->name,
            "tolerance_one_g", number_or_null(kind->tolerance_one_g, kind->tolerance_one_g > 0),
            "tolerance_pair_g", number_or_null(kind->tolerance_pair_g, kind->tolerance_pair_g > 0));
        put_stuck(set, kind);
        print_json(set);
        return;
    }
    up_text_put(stdout, kind->name, 0, true);
    puts(":");
    up_style_say(style, stdout, "  ",
                 "neutral within %.4g g, a pair %.4g g, for items added from now on; "
                 "`upthrust decide --kind` judges older ones again",
                 kind->tolerance_one_g > 0 ? kind->tolerance_one_g : UP_TOLERANCE_ONE_G,
                 kind->tolerance_pair_g > 0 ? kind->tolerance_pair_g : UP_TOLERANCE_PAIR_G);
    if (kind->stuck_share > 0 || kind->stuck_g > 0) {
        UP_FREED char *share = kind->stuck_share > 0
                                   ? up_text_format("%.3g of all the air in it", kind->stuck_share)
                                   : up_text_format("the rig's share of it");
        up_style_say(style, stdout, "  ",
                     "air that may stay through all shakes, in sessions from now on: %s, and what "
                     "lifts %.4g g",
                     share, kind->stuck_g);
    }
}

/* What was not given stays as it was set. */
static bool set(struct call *call) {
    struct up_kind kind = {0};
    struct up_style style;
    if (!style_asked(call, &style)) {
        return false;
    }
    if (call->words != 2 ||
        (!option_given(call, "tolerance-g") && !option_given(call, "tolerance-pair-g") &&
         !option_given(call, "stuck-share") && !option_given(call, "stuck-g"))) {
        return refuse(call, "kind set: name one kind, and what to set of it: --tolerance-g, "
                            "--tolerance-pair-g, --stuck-share or --stuck-g");
    }
    UP_FREED char *clean = up_text_clean(call->word[1], strlen(call->word[1]));
    if (strlen(clean) >= sizeof kind.name) {
        return refuse(call, "kind set: the name is longer than 300 bytes");
    }
    bool good = up_kind_find(call->catalogue, clean, &kind, call->failure);
    snprintf(kind.name, sizeof kind.name, "%s", clean);
    good = good &&
           option_number(call, "tolerance-g", UP_TOLERANCE_LEAST_G, UP_TOLERANCE_MOST_ONE_G,
                         &kind.tolerance_one_g) &&
           option_number(call, "tolerance-pair-g", UP_TOLERANCE_LEAST_G, UP_TOLERANCE_MOST_PAIR_G,
                         &kind.tolerance_pair_g) &&
           option_number(call, "stuck-share", UP_STUCK_SHARE_LEAST, UP_STUCK_SHARE_MOST,
                         &kind.stuck_share) &&
           option_number(call, "stuck-g", 0, STUCK_MOST_G, &kind.stuck_g) &&
           up_kind_set(call->catalogue, &kind, call->failure);
    if (good) {
        print_set(&kind, &style, option_given(call, "json"));
    }
    return good;
}

bool command_kind(struct call *call) {
    static const struct verb verbs[] = {{"list", UP_CATALOGUE_READ, list},
                                        {"set", UP_CATALOGUE_CREATE, set}};
    return run_verb("kind", verbs, sizeof verbs / sizeof verbs[0], call);
}
