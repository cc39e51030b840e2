/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "internal.h"

#include <stdlib.h>
#include <string.h>

#include "text/json.h"
#include "text/text.h"

static json_t *find_plan(const struct up_run_files *files) {
    size_t i;
    json_t *entry;
    json_array_foreach(files->journal, i, entry) {
        const char *event = json_string_value(json_object_get(entry, "event"));
        if (event != NULL && strcmp(event, "plan") == 0) {
            return entry;
        }
    }
    return NULL;
}

/* ---- the journal's words ---- */

static const char *const answer_words[] = {[UP_ANSWER_DONE] = "done",
                                           [UP_ANSWER_SKIP] = "skip",
                                           [UP_ANSWER_AGAIN] = "again",
                                           [UP_ANSWER_STOP] = "stop",
                                           [UP_ANSWER_ACCEPT] = "accept"};
static const char *const note_words[NOTES] = {
    [NOTE_LOST] = "lost",       [NOTE_BACK] = "back",   [NOTE_STOPPED] = "stopped",
    [NOTE_RESUMED] = "resumed", [NOTE_ABSENT] = "left", [NOTE_INTERRUPTED] = "interrupted"};

json_t *answer_to_json(const struct up_reply *answer, double time_s) {
    json_t *json =
        json_pack("{s:s, s:i, s:f}", "event", "answer", "id", (int)answer->id, "time_s", time_s);
    if (answer->word == UP_ANSWER_NUMBER) {
        json_object_set_new(json, "value", json_real(answer->number));
    } else {
        json_object_set_new(json, "answer", json_string(answer_words[answer->word]));
    }
    return json;
}

json_t *note_to_json(enum note note, const char *text) {
    return json_pack("{s:s, s:o}", "event", note_words[note], "text", up_json_text(text));
}

/* The place of a word in a list; -1 where it is none of them. */
static int find_word(const char *const *words, int count, const char *word) {
    for (int i = 0; word != NULL && i < count; i++) {
        if (strcmp(words[i], word) == 0) {
            return i;
        }
    }
    return -1;
}

bool answer_from_json(const json_t *entry, struct recorded *recorded) {
    const char *word = json_string_value(json_object_get(entry, "answer"));
    int at = find_word(answer_words, sizeof answer_words / sizeof answer_words[0], word);
    recorded->kind = RECORDED_ANSWER;
    recorded->time_s = up_record_number(entry, "time_s");
    recorded->answer =
        (struct up_reply){.kind = UP_REPLY_ANSWER,
                          .id = (unsigned)json_integer_value(json_object_get(entry, "id")),
                          .number = up_record_number(entry, "value"),
                          .word = at >= 0 ? (enum up_answer_word)at : UP_ANSWER_NUMBER};
    return word != NULL ? at >= 0 : isfinite(recorded->answer.number);
}

/* False for a line that holds nothing to repeat. */
static bool recorded_from_json(const json_t *entry, struct recorded *recorded) {
    const char *event = json_string_value(json_object_get(entry, "event"));
    const char *text = json_string_value(json_object_get(entry, "text"));
    int note = find_word(note_words, NOTES, event);
    *recorded =
        (struct recorded){.kind = note >= 0 ? RECORDED_NOTE : RECORDED_BYTES,
                          .note = note >= 0 ? (enum note)note : NOTES,
                          .offset = (uint64_t)json_integer_value(json_object_get(entry, "offset")),
                          .arrival_s = up_record_number(entry, "host_s")};
    snprintf(recorded->text, sizeof recorded->text, "%s", text != NULL ? text : "");
    if (event != NULL && strcmp(event, "answer") == 0) {
        return answer_from_json(entry, recorded);
    }
    return note >= 0 || (event != NULL && strcmp(event, "bytes") == 0);
}

static struct recorded *read_entries(const struct up_run_files *files, size_t *count) {
    struct recorded *recorded = up_allocate(json_array_size(files->journal) + 1, sizeof *recorded);
    size_t i;
    const json_t *entry;
    *count = 0;
    json_array_foreach(files->journal, i, entry) {
        *count += recorded_from_json(entry, &recorded[*count]);
    }
    return recorded;
}

/* ---- the whole ---- */

bool stored_run_open(struct stored_run *run, struct up_catalogue *catalogue, const char *id,
                     bool calibrates, struct up_failure *failure) {
    memset(run, 0, sizeof *run);
    run->calibrates = calibrates;
    if (!up_run_read(catalogue, id, &run->files, failure)) {
        return false;
    }
    run->plan = json_incref(find_plan(&run->files)); /* a journal that was changed is trimmed */
    run->recorded = read_entries(&run->files, &run->count);
    return calibrates ? calibrate_plan_from_json(run->plan, run, failure)
                      : measure_plan_from_json(run->plan, run, failure);
}

void stored_run_free(struct stored_run *run) {
    json_decref(run->plan);
    run->plan = NULL;
    up_run_files_free(&run->files);
    free(run->recorded);
}

void stored_run_trim(struct stored_run *run) {
    for (size_t i = 0; i < run->count; i++) {
        if (run->recorded[i].offset > run->files.length) {
            run->count = i;
        }
    }
    for (size_t i = 0; i < json_array_size(run->files.journal); i++) {
        json_t *offset = json_object_get(json_array_get(run->files.journal, i), "offset");
        if (json_integer_value(offset) > (json_int_t)run->files.length) {
            while (json_array_size(run->files.journal) > i) {
                json_array_remove(run->files.journal, i);
            }
        }
    }
}

bool stored_run_repeat(const struct stored_run *run, struct up_procedure *procedure, void *context,
                       void (*event)(void *context, const struct up_event *event),
                       struct up_reader *reader, struct up_failure *failure) {
    struct recording recording = {.rig = &run->rig,
                                  .talked_unasked =
                                      json_is_true(json_object_get(run->plan, "talked_unasked")),
                                  .bytes = run->files.stream,
                                  .length = run->files.length,
                                  .recorded = run->recorded,
                                  .count = run->count,
                                  .context = context,
                                  .event = event};
    return repeat_run(procedure, &recording, reader, failure);
}
