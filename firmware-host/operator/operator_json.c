/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The operator as another program: JSON Lines. rigs/README.md describes the protocol. */
#include <string.h>

#include "catalogue/run.h"
#include "internal.h"
#include "text/json.h"

static json_t *ask_to_json(const struct up_ask *ask) {
    bool hangs = ask->action == UP_ACTION_HANG_MASS, wants = ask->wants_number;
    return json_pack("{s:s, s:i, s:s, s:o, s:o, s:o*, s:s*, s:o*, s:o*, s:s*, s:s*, s:s*, s:s*}",
                     "event", "ask", "id", (int)ask->id, "do", up_action_name(ask->action),
                     "time_s", up_json_number(ask->time_s), "text", up_json_text(ask->text),
                     "mass_kg", hangs ? json_real(ask->mass_kg) : NULL, "line", ask->line,
                     "depth_m", ask->depth_m != 0 ? json_real(ask->depth_m) : NULL, "distance_m",
                     ask->distance_m != 0 ? json_real(ask->distance_m) : NULL, "item",
                     ask->item_name, "item_id", ask->item_name != NULL ? ask->item_id : NULL,
                     "wants", wants ? "value" : NULL, "unit", wants ? ask->unit : NULL);
}

/* The record of a plateau, a trial or a check, as it is stored. */
static json_t *event_of(const char *event, json_t *record) {
    json_t *json = json_pack("{s:s}", "event", event);
    json_object_update_new(json, record);
    return json;
}

json_t *up_event_to_json(const struct up_event *event, double counts_per_kg) {
    switch (event->kind) {
    case UP_EVENT_ASK:
        return ask_to_json(&event->ask);
    case UP_EVENT_PLATEAU:
        return event_of("plateau", up_plateau_to_json(event->plateau_of, &event->plateau));
    case UP_EVENT_TRIAL:
        return event_of("trial", up_trial_to_json(&event->trial, counts_per_kg));
    case UP_EVENT_FAULT:
        return json_pack("{s:s, s:o}", "event", "fault", "text", up_json_text(event->text));
    case UP_EVENT_NOTE:
        return json_pack("{s:s, s:o}", "event", "note", "text", up_json_text(event->text));
    case UP_EVENT_CHECK:
        return event_of("check", up_reference_check_to_json(&event->check));
    case UP_EVENT_FINISHED:
        break;
    }
    return json_pack("{s:s}", "event", "finished");
}

static void print(struct up_operator *op, json_t *json) {
    up_json_write(json, op->output, JSON_COMPACT | JSON_REAL_PRECISION(15));
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
                        up_json_text(why)));
}

static bool json_word(const char *text, enum up_answer_word *word) {
    static const char *const words[] = {"done", "skip", "again", "stop", "accept"};
    static const enum up_answer_word meaning[] = {UP_ANSWER_DONE, UP_ANSWER_SKIP, UP_ANSWER_AGAIN,
                                                  UP_ANSWER_STOP, UP_ANSWER_ACCEPT};
    for (size_t i = 0; text != NULL && i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(text, words[i]) == 0) {
            *word = meaning[i];
            return true;
        }
    }
    return false;
}

static bool json_line(struct up_operator *op, const char *line, struct up_reply *answer) {
    json_auto_t *json = json_loads(line, 0, NULL);
    json_t *id = json_object_get(json, "id");
    json_t *value = json_object_get(json, "value");
    bool good = false;
    *answer = (struct up_reply){.kind = UP_REPLY_ANSWER};
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
    if (!good) {
        op->kind->refused(op, answer->id,
                          "answer with {\"id\":N,\"answer\":\"done|skip|again|stop|accept\"} or "
                          "{\"id\":N,\"value\":X}");
    }
    return good;
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
    .result = json_result,
};
