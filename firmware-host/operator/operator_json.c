/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The operator as another program: JSON Lines. rigs/README.md tells the protocol. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "operator.h"
#include "upthrust/text.h"

static json_t *number_or_null(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

/* A path is any bytes, and a name may have been cut within a letter: JSON takes neither. */
static json_t *clean_string(const char *text) {
    char *clean = up_text_clean(text, strlen(text));
    json_t *json = json_string(clean);
    free(clean);
    return json;
}

static json_t *ask_to_json(const struct up_ask *ask) {
    json_t *json = json_pack("{s:s, s:i, s:s, s:o, s:o}", "event", "ask", "id", (int)ask->id, "do",
                             up_action_name(ask->action), "time_s", number_or_null(ask->time_s),
                             "text", clean_string(ask->text));
    if (ask->action == UP_ACTION_HANG_MASS) {
        json_object_set_new(json, "mass_kg", json_real(ask->mass_kg));
    }
    if (ask->line != NULL) {
        json_object_set_new(json, "line", json_string(ask->line));
    }
    if (ask->depth_m != 0) {
        json_object_set_new(json, "depth_m", json_real(ask->depth_m));
    }
    if (ask->distance_m != 0) {
        json_object_set_new(json, "distance_m", json_real(ask->distance_m));
    }
    if (ask->item_name != NULL) {
        json_object_set_new(json, "item", json_string(ask->item_name));
        json_object_set_new(json, "item_id", json_string(ask->item_id));
    }
    if (ask->wants_number) {
        json_object_set_new(json, "wants", json_string("value"));
        json_object_set_new(json, "unit", json_string(ask->unit));
    }
    return json;
}

static json_t *plateau_to_json(const struct up_event *event) {
    const struct up_plateau *plateau = &event->plateau;
    return json_pack(
        "{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:i, s:i, s:o, s:o}", "event", "plateau", "of",
        event->plateau_of, "start_s", number_or_null(plateau->start_s), "end_s",
        number_or_null(plateau->end_s), "step_s", number_or_null(plateau->step_s), "load_counts",
        number_or_null(plateau->load), "u_load_counts", number_or_null(plateau->u_load),
        "slope_counts_s", number_or_null(plateau->slope_per_s), "readings", (int)plateau->readings,
        "glitches", (int)plateau->glitches, "temp_c", number_or_null(plateau->temp_c), "late_s",
        number_or_null(plateau->late_s));
}

static json_t *trial_to_json(const struct up_trial *trial, double counts_per_kg) {
    json_t *gains = json_array();
    json_t *json =
        json_pack("{s:s, s:i, s:o, s:o, s:i, s:b, s:o, s:o}", "event", "trial", "number",
                  (int)trial->number, "load_counts", number_or_null(trial->load_counts),
                  "u_plateau_counts", number_or_null(trial->u_plateau_counts), "shakes",
                  (int)trial->shakes, "still_gaining", trial->still_gaining, "soak_s",
                  number_or_null(trial->soak_s), "temp_c", number_or_null(trial->temp_c));
    for (unsigned i = 0; i < trial->shakes; i++) {
        json_array_append_new(gains, number_or_null(trial->gain_counts[i]));
    }
    json_object_set_new(json, "gain_counts", gains);
    if (counts_per_kg != 0) {
        json_object_set_new(json, "load_g",
                            number_or_null(trial->load_counts / counts_per_kg * 1e3));
    }
    return json;
}

static json_t *check_to_json(const struct up_reference_check *check) {
    return json_pack(
        "{s:s, s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:b, s:b, s:b}", "event",
        "check", "reference_id", check->id, "name", check->name, "load_counts",
        number_or_null(check->load_counts), "reads_g", number_or_null(check->water_kg * 1e3),
        "expected_g", number_or_null(check->expected_kg * 1e3), "water_density_kg_m3",
        number_or_null(check->water_kg_m3), "deviation_g",
        number_or_null(check->deviation_kg.value * 1e3), "u_deviation_g",
        number_or_null(check->deviation_kg.u * 1e3), "e_n", number_or_null(check->e_n), "low_g",
        number_or_null(check->low_kg * 1e3), "high_g", number_or_null(check->high_kg * 1e3),
        "by_history", check->by_history, "outside", check->outside, "confirmed", check->confirmed);
}

json_t *up_event_to_json(const struct up_event *event, double counts_per_kg) {
    switch (event->kind) {
    case UP_EVENT_ASK:
        return ask_to_json(&event->ask);
    case UP_EVENT_PLATEAU:
        return plateau_to_json(event);
    case UP_EVENT_TRIAL:
        return trial_to_json(&event->trial, counts_per_kg);
    case UP_EVENT_FAULT:
        return json_pack("{s:s, s:o}", "event", "fault", "text", clean_string(event->text));
    case UP_EVENT_NOTE:
        return json_pack("{s:s, s:o}", "event", "note", "text", clean_string(event->text));
    case UP_EVENT_CHECK:
        return check_to_json(&event->check);
    case UP_EVENT_FINISHED:
        break;
    }
    return json_pack("{s:s}", "event", "finished");
}

static void print(struct up_operator *op, json_t *json) {
    json_dumpf(json, op->output, JSON_COMPACT | JSON_REAL_PRECISION(15));
    fputc('\n', op->output);
    fflush(op->output);
    json_decref(json);
}

static void json_event(struct up_operator *op, const struct up_event *event) {
    if (event->kind != UP_EVENT_FINISHED) { /* the last line is the result */
        print(op, up_event_to_json(event, op->counts_per_kg));
    }
}

static void json_refused(struct up_operator *op, unsigned id, const char *why) {
    print(op, json_pack("{s:s, s:i, s:o}", "event", "refused", "id", (int)id, "text",
                        clean_string(why)));
}

static bool json_word(const char *text, enum up_answer_word *word) {
    static const char *const words[] = {"done", "skip", "again", "stop"};
    static const enum up_answer_word meaning[] = {UP_ANSWER_DONE, UP_ANSWER_SKIP, UP_ANSWER_AGAIN,
                                                  UP_ANSWER_STOP};
    for (size_t i = 0; text != NULL && i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(text, words[i]) == 0) {
            *word = meaning[i];
            return true;
        }
    }
    return false;
}

static bool json_line(struct up_operator *op, const char *line, struct answer *answer) {
    json_t *json = json_loads(line, 0, NULL);
    json_t *id = json_object_get(json, "id");
    json_t *value = json_object_get(json, "value");
    bool good = false;
    *answer = (struct answer){0};
    if (json_is_integer(id) && json_integer_value(id) > 0 && json_integer_value(id) < 1000000000) {
        answer->id = (unsigned)json_integer_value(id);
        if (json_is_number(value)) {
            answer->word = UP_ANSWER_NUMBER;
            answer->number = json_number_value(value);
            good = true;
        } else {
            good = json_word(json_string_value(json_object_get(json, "answer")), &answer->word);
        }
    }
    json_decref(json);
    if (!good) {
        op->kind->refused(op, answer->id,
                          "answer with {\"id\":N,\"answer\":\"done|skip|again|stop\"} or "
                          "{\"id\":N,\"value\":X}");
    }
    return good;
}

static void json_live(struct up_operator *op, double load_g, double noise_g) {
    (void)op;
    (void)load_g;
    (void)noise_g;
}

static void json_result(struct up_operator *op, json_t *result) {
    json_t *json = json_pack("{s:s}", "event", "result");
    json_object_update(json, result);
    print(op, json);
}

const struct operator_kind operator_json = {
    .event = json_event,
    .line = json_line,
    .refused = json_refused,
    .live = json_live,
    .result = json_result,
};
