/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is measured, judged again: under another tolerance or confidence, or in another water. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "catalogue/claim.h"
#include "catalogue/records.h"
#include "cli.h"
#include "text/text.h"

const struct option_text options_decide[] = {
    {"item", "NAME_OR_ID", "only this item"},
    {"kind", "KIND", "only items of this kind"},
    {"all", NULL, "all items of the catalogue"},
    {"tolerance-g", "G", "neutral is within this (default: what the item says now)"},
    {"confidence", "P", "a class is stated at this probability (default: as it was)"},
    {"water", "NAME[,key=value...]", "only in this water, calculated where there is no result yet"},
    {"dry-run", NULL, "only show what would change"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

/* The newest result of an item in a water. */
struct stored {
    struct up_result result; /* as the current decision has it */
    char id[UP_ID_SIZE], bench[UP_NAME_SIZE];
};

struct line {
    const struct up_item *item;
    char water[48];
    const char *why_not; /* NULL: it was judged */
    enum up_class was;
    bool is_new, changed; /* a water without a result; another question than that of before */
    struct up_decided decided;
};

struct judging {
    struct call *call;
    const char *item_id, *kind;     /* NULL: any */
    double tolerance_g, confidence; /* NaN: as it was */
    struct up_item *item;
    size_t items;
    struct stored *stored;
    size_t results;
    json_t *decisions;
    json_t *elsewhere; /* results from there, by item id */
    json_t *places;    /* "ID" to the item's, "ID WATER" to the result's place */
    struct line *line;
    size_t lines;
};

/* ---- what there is ---- */

static bool take_item(const struct up_record *record, void *context) {
    struct judging *judging = context;
    struct up_item item;
    if (!up_item_from_json(record->content, &item)) {
        return true;
    }
    memcpy(item.id, record->subject, sizeof item.id);
    if ((judging->item_id == NULL || strcmp(judging->item_id, item.id) == 0) &&
        (judging->kind == NULL || strcasecmp(judging->kind, item.kind) == 0)) {
        judging->item = up_reallocate(judging->item, judging->items + 1, sizeof *judging->item);
        json_object_set_new(judging->places, item.id, json_integer((json_int_t)judging->items));
        judging->item[judging->items++] = item;
    }
    return true;
}

static char *key_of(const char *item_id, const char *water) {
    return up_text_format("%s %s", item_id, water);
}

static struct stored *find_stored(const struct judging *judging, const char *item_id,
                                  const char *water) {
    UP_FREED char *key = key_of(item_id, water);
    const json_t *place = json_object_get(judging->places, key);
    return place != NULL ? &judging->stored[json_integer_value(place)] : NULL;
}

/* Oldest first: a later one takes the place, but no quick one that of a full one. */
static bool take_result(const struct up_record *record, void *context) {
    struct judging *judging = context;
    struct up_result result;
    up_result_from_json(record->content, &result);
    up_decision_apply(json_object_get(judging->decisions, record->subject), &result);
    struct stored *stored = find_stored(judging, result.item_id, result.water.name);
    if (stored == NULL) {
        UP_FREED char *key = key_of(result.item_id, result.water.name);
        json_object_set_new(judging->places, key, json_integer((json_int_t)judging->results));
        judging->stored =
            up_reallocate(judging->stored, judging->results + 1, sizeof *judging->stored);
        stored = &judging->stored[judging->results++];
    } else if (up_claim_stays(
                   (struct up_claim_rank){.quick = stored->result.quick.is,
                                          .pieces = stored->result.pieces},
                   (struct up_claim_rank){.quick = result.quick.is, .pieces = result.pieces})) {
        return true;
    }
    stored->result = result;
    memcpy(stored->id, record->subject, sizeof stored->id);
    memcpy(stored->bench, record->bench, sizeof stored->bench);
    return true;
}

/* ---- judging ---- */

static struct line *add_line(struct judging *judging, const struct up_item *item,
                             const char *water) {
    judging->line = up_reallocate(judging->line, judging->lines + 1, sizeof *judging->line);
    struct line *line = &judging->line[judging->lines++];
    *line = (struct line){.item = item};
    snprintf(line->water, sizeof line->water, "%s", water);
    return line;
}

static void ask_again(const struct judging *judging, const struct up_item *item,
                      struct up_question *question) {
    question->tolerance_kg =
        (isnan(judging->tolerance_g) ? item->tolerance_g : judging->tolerance_g) * 1e-3;
    if (!isnan(judging->confidence)) {
        question->confidence = judging->confidence;
    }
}

/* A record that somebody else made may hold a budget that nobody can compute: the others are judged
   all the same. */
static void weigh_again(struct line *line) {
    struct up_result *result = &line->decided.result;
    result->trials_would_decide = false;
    result->more_trials = 0;
    if (!up_weigh(&result->weighing, &result->question, &result->answer)) {
        line->why_not = "its stored budget cannot be computed (`upthrust explain` shows it)";
        return;
    }
    if (result->answer.class == UP_CLASS_UNDECIDED) {
        result->trials_would_decide = up_trials_to_decide(&result->weighing, &result->question,
                                                          result->trials, &result->more_trials);
    }
}

static void judge_stored(struct judging *judging, const struct up_item *item,
                         const struct stored *stored) {
    struct line *line = add_line(judging, item, stored->result.water.name);
    struct up_decided *decided = &line->decided;
    decided->result = stored->result;
    line->was = stored->result.answer.class;
    memcpy(decided->result_id, stored->id, sizeof decided->result_id);
    memcpy(decided->bench, stored->bench, sizeof decided->bench);
    if (item->compressible && strcmp(line->water, "tank") != 0) {
        line->why_not = UP_CLAIM_WITHDRAWN;
        return;
    }
    if (stored->result.quick.is) {
        line->why_not = "a quick weighing ends by the line that was asked for: weigh it in full to "
                        "judge it by another one";
        return;
    }
    if (!stored->result.has_model) {
        line->why_not = "from before the model was kept; `upthrust measure --replay RUN --store` "
                        "computes it again";
        return;
    }
    if (isnan(judging->tolerance_g) && stored->result.pieces != item->pieces) {
        line->why_not = "measured with other pieces than the item has now: give --tolerance-g";
        return;
    }
    ask_again(judging, item, &decided->result.question);
    line->changed =
        fabs(decided->result.question.tolerance_kg - stored->result.question.tolerance_kg) > 1e-9 ||
        decided->result.question.confidence != stored->result.question.confidence;
    snprintf(decided->rule, sizeof decided->rule,
             "upthrust %s; judged again: tolerance %g g, confidence %g", UPTHRUST_VERSION,
             decided->result.question.tolerance_kg * 1e3, decided->result.question.confidence);
    if (line->changed) {
        weigh_again(line);
    }
}

static void set_target(struct up_result *result, const struct up_water *water,
                       const struct up_water_density *density) {
    struct up_term *term = result->weighing.term;
    const struct up_term known = {
        .dof = (double)INFINITY, .distribution = UP_NORMAL, .evaluation = 'B'};
    result->weighing.in_tank = false;
    result->weighing.target_temp_c = water->temp_c;
    term[UP_INPUT_TARGET_DENSITY] = term[UP_INPUT_TARGET_SALINITY] = known;
    term[UP_INPUT_TARGET_DENSITY].value = density->density_kg_m3.value;
    term[UP_INPUT_TARGET_DENSITY].u = hypot(density->u_model_kg_m3, density->u_temp_kg_m3);
    term[UP_INPUT_TARGET_SALINITY].u = density->u_salinity_kg_m3;
    if (water->salinity_range) {
        term[UP_INPUT_TARGET_SALINITY].distribution = UP_RECTANGULAR;
    }
    result->water = *water;
    result->measured = false;
    result->rejudged = false;
    result->water_density_kg_m3 = density->density_kg_m3;
}

/* From the tank's own result: its model holds all but the water. */
static bool judge_water(struct judging *judging, const struct up_item *item,
                        const struct up_water *water, struct up_failure *failure) {
    const struct stored *tank = find_stored(judging, item->id, "tank");
    struct up_water_density density;
    struct line *line = add_line(judging, item, water->name);
    line->is_new = line->changed = true;
    line->why_not = tank == NULL            ? "not measured here"
                    : tank->result.quick.is ? "a quick weighing: only what it stored holds; weigh "
                                              "it in full"
                    : !tank->result.has_model ? "from before the model was kept"
                    : tank->result.compressible || item->compressible
                        ? "it holds gas or may: only the tank's result holds"
                    : !tank->result.weighing.weighed_in_air
                        ? "not weighed in air: only the tank's result holds"
                        : NULL;
    if (line->why_not != NULL) {
        return true;
    }
    struct up_result *result = &line->decided.result;
    *result = tank->result;
    memcpy(line->decided.bench, tank->bench, sizeof line->decided.bench);
    if (!up_water_density(water, &density, failure)) {
        return false;
    }
    set_target(result, water, &density);
    ask_again(judging, item, &result->question);
    size_t length = strlen(result->method);
    snprintf(result->method + length, sizeof result->method - length,
             "; water asked for later, from result %.8s", tank->id);
    weigh_again(line);
    return true;
}

/* A name alone is a result that is there, else a water that is known; with keys it is a new one. */
static bool judge_asked(struct judging *judging, const struct up_item *item, const char *text,
                        struct up_failure *failure) {
    const struct stored *stored =
        strchr(text, ',') == NULL ? find_stored(judging, item->id, text) : NULL;
    if (stored != NULL) {
        judge_stored(judging, item, stored);
        return true;
    }
    if (strcmp(text, "tank") == 0) {
        add_line(judging, item, text)->why_not = "not measured here";
        return true;
    }
    struct up_water water[UP_WATERS_MAX];
    struct call one = {.option = {{"water", text}}, .options = 1, .failure = failure};
    unsigned count = 0;
    return waters_asked(&one, water, &count) && judge_water(judging, item, &water[0], failure);
}

static bool judge_item(struct judging *judging, const struct up_item *item,
                       struct up_failure *failure) {
    struct call *call = judging->call;
    bool good = true;
    for (int i = 0; good && i < call->options; i++) {
        if (strcmp(call->option[i].name, "water") == 0) {
            good = judge_asked(judging, item, call->option[i].value, failure);
        }
    }
    return good;
}

static void judge_result(struct judging *judging, const struct stored *stored) {
    const json_t *place = json_object_get(judging->places, stored->result.item_id);
    if (place != NULL) {
        judge_stored(judging, &judging->item[json_integer_value(place)], stored);
    }
}

/* Before anything is judged: what is too wide for one of them is refused for all. */
static bool check_tolerance(const struct judging *judging, struct up_failure *failure) {
    for (size_t i = 0; i < judging->items; i++) {
        const struct up_item *item = &judging->item[i];
        if (judging->tolerance_g > up_tolerance_most_g(item->pieces)) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--tolerance-g %g: a piece is neutral within at most %g g, and %.80s "
                           "is one",
                           judging->tolerance_g, UP_TOLERANCE_MOST_ONE_G, item->name);
        }
    }
    return true;
}

static bool judge_all(struct judging *judging, struct up_catalogue *catalogue,
                      struct up_failure *failure) {
    judging->decisions = up_decisions_later(catalogue, failure);
    bool good = judging->decisions != NULL &&
                up_catalogue_each(catalogue, "item", take_item, judging, failure) &&
                up_results_to_judge(catalogue, take_result, judging, judging->elsewhere, failure);
    if (good && judging->items == 0) {
        good = up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "there is no item%s%.80s: `upthrust item list` shows all",
                       judging->kind != NULL ? " of the kind " : "",
                       judging->kind != NULL ? judging->kind : "");
    }
    good = good && check_tolerance(judging, failure);
    bool waters = option_given(judging->call, "water");
    for (size_t i = 0; good && waters && i < judging->items; i++) {
        good = judge_item(judging, &judging->item[i], failure);
    }
    for (size_t i = 0; good && !waters && i < judging->results; i++) {
        judge_result(judging, &judging->stored[i]);
    }
    return good;
}

/* Only what was not asked before is stored. */
static bool store(const struct judging *judging, struct up_catalogue *catalogue,
                  struct up_failure *failure) {
    UP_FREED struct up_decided *decided = up_allocate(judging->lines + 1, sizeof *decided);
    size_t count = 0;
    for (size_t i = 0; i < judging->lines; i++) {
        if (judging->line[i].changed && judging->line[i].why_not == NULL) {
            decided[count++] = judging->line[i].decided;
        }
    }
    bool good = count == 0 || up_decisions_add(catalogue, decided, count, failure);
    if (good && count > 0) {
        struct up_failure why;
        bool late = false;
        if (!up_exchange_update(catalogue, &late, &why)) {
            up_text_print(stderr, "note: stored, but not exported: %s\n", why.text);
        } else if (late) {
            fputs("note: stored. " UP_EXCHANGE_LATE "\n", stderr);
        }
    }
    return good;
}

/* ---- printing ---- */

enum { WATER_COLUMNS = 8 };

/* The caller's. */
static char *title_of(const struct line *line) {
    const struct up_result *result = &line->decided.result;
    bool stored = result->item_id[0] != '\0'; /* else there is nothing but the item */
    bool simulated =
        stored && (result->simulated || strcmp(line->decided.bench, "simulated-tank") == 0);
    UP_FREED char *title =
        up_item_title(line->item->name, stored ? result->pieces : line->item->pieces);
    return up_text_format("%s%s", simulated ? UP_SIMULATED : "", title);
}

static void print_line(const struct line *line, const struct up_style *style) {
    const struct up_result *result = &line->decided.result;
    char net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE], tolerance[UP_SHOWN_SIZE];
    fputs("  ", stdout);
    up_text_put(stdout, line->water, WATER_COLUMNS, style->isolate);
    if (line->why_not != NULL) {
        printf(" not judged: %s\n", line->why_not);
        return;
    }
    up_style_mass(style, result->answer.buoyancy_kg.value * 1e3, net);
    up_style_interval(style, result->answer.expanded_u_kg * 1e3, result->answer.stuck_air_kg * 1e3,
                      u);
    up_style_lead(style, result->question.tolerance_kg * 1e3, tolerance);
    printf(" %14s %-17s %7s %5.4g %-9s ", net, u, tolerance, result->question.confidence,
           line->is_new ? "-" : up_class_name(line->was));
    up_style_class(style, up_class_name(result->answer.class), 0, stdout);
    puts(line->is_new || line->was != result->answer.class ? " *" : "");
    if (result->answer.class == UP_CLASS_UNDECIDED && result->trials_would_decide) {
        printf("  %*s %u more trial%s would decide it\n", WATER_COLUMNS, "", result->more_trials,
               up_text_plural(result->more_trials));
    }
}

/* An item's name, then its waters. */
static void print_lines(const struct judging *judging, const struct up_style *style) {
    char *last = up_text_format("%s", "");
    printf("  %-*s %14s %-17s %7s %5s %-9s is\n", WATER_COLUMNS, "water", "net", "interval",
           "neutral", "at", "was");
    for (size_t i = 0; i < judging->lines; i++) {
        char *title = title_of(&judging->line[i]);
        if (strcmp(title, last) != 0 || judging->line[i].item != judging->line[i - 1].item) {
            up_text_put(stdout, title, 0, style->isolate);
            putchar('\n');
        }
        print_line(&judging->line[i], style);
        free(last);
        last = title;
    }
    free(last);
    fflush(stdout);
}

static json_int_t count_elsewhere(const struct judging *judging) {
    json_int_t count = 0;
    for (size_t i = 0; i < judging->items; i++) {
        count += json_integer_value(json_object_get(judging->elsewhere, judging->item[i].id));
    }
    return count;
}

static void print_outcome(const struct judging *judging, bool dry_run) {
    size_t changed = 0, stored = 0;
    for (size_t i = 0; i < judging->lines; i++) {
        const struct line *line = &judging->line[i];
        if (line->why_not == NULL) {
            stored += line->changed;
            changed += line->is_new || line->was != line->decided.result.answer.class;
        }
    }
    json_int_t elsewhere = count_elsewhere(judging);
    puts(UP_CLAIM_WHOSE "\n" UP_CLAIM_CHECK);
    if (elsewhere > 0) {
        printf("%lld result%s from elsewhere %s not judged again\n", (long long)elsewhere,
               up_text_plural((size_t)elsewhere), elsewhere == 1 ? "is" : "are");
    }
    printf("%zu class%s changed or new (*); %zu decision%s %s\n", changed, changed == 1 ? "" : "es",
           stored, up_text_plural(stored),
           dry_run ? "would be stored: this was a dry run" : "stored, the old ones kept");
}

static json_t *line_to_json(const struct line *line) {
    json_t *json = json_pack("{s:s, s:s, s:s}", "item_id", line->item->id, "item_name",
                             line->item->name, "water", line->water);
    if (line->why_not != NULL) {
        json_object_set_new(json, "not_judged", json_string(line->why_not));
        return json;
    }
    json_object_set_new(json, "was",
                        line->is_new ? json_null() : json_string(up_class_name(line->was)));
    json_object_set_new(json, "stored", json_boolean(line->changed));
    if (!line->is_new) {
        json_object_set_new(json, "result_id", json_string(line->decided.result_id));
    }
    json_auto_t *result = up_result_to_json(&line->decided.result);
    json_object_del(result, "budget");
    json_object_del(result, "model");
    json_object_update_missing(json, result);
    return json;
}

static void print_document(const struct judging *judging, bool dry_run) {
    json_t *list = json_array();
    for (size_t i = 0; i < judging->lines; i++) {
        json_array_append_new(list, line_to_json(&judging->line[i]));
    }
    print_json(json_pack("{s:s, s:b, s:I, s:o}", "schema", "upthrust-decide-1", "dry_run", dry_run,
                         "elsewhere", count_elsewhere(judging), "decisions", list));
}

static bool any_undecided(const struct judging *judging) {
    bool any = false;
    for (size_t i = 0; i < judging->lines; i++) {
        const struct line *line = &judging->line[i];
        any = any ||
              (line->why_not == NULL && line->decided.result.answer.class == UP_CLASS_UNDECIDED);
    }
    return any;
}

/* Distinguished by their names, like those of a session. */
static bool check_waters(struct call *call) {
    const char *seen[OPTIONS_GIVEN_MAX];
    int count = 0;
    for (int i = 0; i < call->options; i++) {
        const char *water = call->option[i].value;
        size_t length = strcspn(water, ",");
        if (strcmp(call->option[i].name, "water") != 0) {
            continue;
        }
        for (int j = 0; j < count; j++) {
            if (strcspn(seen[j], ",") == length && strncmp(seen[j], water, length) == 0) {
                return refuse(call, "--water %.*s is asked for twice: keep one",
                              (int)(length < 60 ? length : 60), water);
            }
        }
        seen[count++] = water;
    }
    return true;
}

static bool decide(struct call *call, struct judging *judging, const struct up_style *style) {
    const char *name = option_value(call, "item");
    bool dry_run = option_given(call, "dry-run"), json = option_given(call, "json");
    struct up_item item;
    if (name != NULL && !up_item_find(call->catalogue, name, &item, call->failure)) {
        return false;
    }
    judging->item_id = name != NULL ? item.id : NULL;
    bool good = judge_all(judging, call->catalogue, call->failure);
    judging->item_id = NULL;
    if (good && !json) {
        print_lines(judging, style); /* before anything is stored */
    }
    if (!good || !(dry_run || store(judging, call->catalogue, call->failure))) {
        return false;
    }
    if (json) {
        print_document(judging, dry_run);
    } else {
        print_outcome(judging, dry_run);
    }
    call->status = any_undecided(judging) ? UP_STATUS_UNDECIDED : UP_STATUS_DONE;
    return true;
}

/* Judging again changes what everybody reads: no answer means no. */
static bool check_choice(struct call *call) {
    bool item = option_given(call, "item"), kind = option_given(call, "kind");
    bool all = option_given(call, "all");
    if (!item && !kind && !all) {
        return refuse(call, "decide: give what to judge again: --item NAME, --kind KIND or --all; "
                            "--dry-run stores nothing");
    }
    return !(all && (item || kind)) ||
           refuse(call, "decide: give --all or --%s, not both", item ? "item" : "kind");
}

bool command_decide(struct call *call) {
    struct judging judging = {.call = call,
                              .kind = option_value(call, "kind"),
                              .tolerance_g = (double)NAN,
                              .confidence = (double)NAN,
                              .elsewhere = json_object(),
                              .places = json_object()};
    struct up_style style;
    enum up_catalogue_mode mode =
        option_given(call, "dry-run") ? UP_CATALOGUE_READ : UP_CATALOGUE_WRITE;
    bool good = style_asked(call, &style) && check_choice(call) && check_waters(call) &&
                option_number(call, "tolerance-g", UP_TOLERANCE_LEAST_G, UP_TOLERANCE_MOST_PAIR_G,
                              &judging.tolerance_g) &&
                option_number(call, "confidence", 0.5, 0.9999, &judging.confidence) &&
                open_catalogue(call, mode) && decide(call, &judging, &style);
    json_decref(judging.decisions);
    json_decref(judging.places);
    json_decref(judging.elsewhere);
    free(judging.item);
    free(judging.stored);
    free(judging.line);
    return good;
}
