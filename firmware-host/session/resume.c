/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which run is resumed, and whether it still may be. */
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* ---- the rig file: its text without comments and the port, which may have another name ---- */

/* The next line that matters; false at the end. */
static bool next_line(const char **text, bool *in_port, char line[256]) {
    while (**text != '\0') {
        size_t length = strcspn(*text, "\n"), blanks = strspn(*text, " \t\r");
        snprintf(line, 256, "%.*s", (int)(length > blanks ? length - blanks : 0), *text + blanks);
        *text += length + ((*text)[length] == '\n');
        line[strcspn(line, "\r")] = '\0';
        if (line[0] == '[') {
            *in_port = strncmp(line, "[port]", 6) == 0;
        }
        if (!*in_port && line[0] != '\0' && line[0] != ';' && line[0] != '#') {
            return true;
        }
    }
    line[0] = '\0';
    return false;
}

static bool is_same_rig(const char *before, const char *now, const struct stored_run *run,
                        const char *path, struct up_failure *failure) {
    bool port_before = false, port_now = false, more = true;
    char line_before[256], line_now[256];
    while (more) {
        more = next_line(&before, &port_before, line_before);
        if (next_line(&now, &port_now, line_now) != more || strcmp(line_before, line_now) != 0) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "%.100s has changed since run %s began: it says \"%.60s\" instead of "
                           "\"%.60s\"; put that back, or begin again without --resume",
                           path, run->files.id, line_now, line_before);
        }
    }
    return true;
}

static bool check_rig(struct stored_run *run, const struct up_rig *rig,
                      struct up_failure *failure) {
    const char *before = json_string_value(json_object_get(run->plan, "rig"));
    UP_FREED char *text = up_rig_read_text(rig->path, failure);
    UP_FREED char *now = text != NULL ? up_text_clean_lines(text) : NULL;
    bool good = now != NULL && is_same_rig(before, now, run, rig->path, failure);
    memcpy(run->rig.path, rig->path, sizeof run->rig.path);
    if (run->rig.port_kind != UP_PORT_TYPED) {
        run->rig.port_kind = rig->port_kind;
        run->rig.port = rig->port;
        memcpy(run->rig.port_path, rig->port_path, sizeof run->rig.port_path);
    }
    return good;
}

/* ---- the item and the calibration ---- */

static const char *begin_text(const struct stored_run *run, const char *name) {
    const char *text =
        json_string_value(json_object_get(json_array_get(run->files.journal, 0), name));
    return text != NULL ? text : "";
}

static bool check_item(struct stored_run *run, struct up_catalogue *catalogue,
                       struct up_failure *failure) {
    struct up_item item;
    if (!up_item_find(catalogue, begin_text(run, "item_id"), &item, failure)) {
        return false;
    }
    json_auto_t *now = up_item_to_json(&item);
    bool same = json_equal(now, json_object_get(run->plan, "item"));
    memcpy(run->measure.item.id, item.id, sizeof item.id);
    return same || up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "%.80s has been edited since run %s began: begin again without --resume",
                           item.name, run->files.id);
}

static bool check_calibration(struct stored_run *run, const struct up_session_settings *settings,
                              struct up_failure *failure) {
    UP_FREED struct up_calibration *latest = up_allocate(1, sizeof *latest);
    bool good = up_calibration_to_use(settings->catalogue, settings->rig->id, latest, failure);
    json_auto_t *now = good ? up_calibration_to_json(latest) : NULL;
    if (good && strcmp(latest->id, begin_text(run, "calibration_id")) != 0) {
        good = up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "the bench %.60s was calibrated again since run %s began: begin again without --resume",
            settings->rig->id, run->files.id);
    }
    if (good && !json_equal(now, json_object_get(run->plan, "calibration"))) {
        good = up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the journal of run %s has other numbers for its calibration than the "
                       "catalogue: put back a copy of the folder runs, or begin again without "
                       "--resume",
                       run->files.id);
    }
    memcpy(run->calibration.id, latest->id, sizeof latest->id);
    memcpy(run->calibration.made_utc, latest->made_utc, sizeof latest->made_utc);
    return good;
}

/* ---- the files ---- */

/* A run that continues another holds all of its record, unless it ended while copying. */
static bool is_whole(const struct stored_run *run) {
    size_t i;
    json_t *entry;
    if (json_object_get(json_array_get(run->files.journal, 0), "continues") == NULL) {
        return true;
    }
    json_array_foreach(run->files.journal, i, entry) {
        const char *event = json_string_value(json_object_get(entry, "event"));
        if (event != NULL && strcmp(event, RUN_COPIED) == 0) {
            return true;
        }
    }
    return false;
}

/* The latest of the runs that went on with each other whose files are whole: what came later had
   not begun. */
static bool open_files(struct resumed_run *resumed, struct up_catalogue *catalogue, bool calibrates,
                       struct up_failure *failure) {
    size_t i;
    json_t *id;
    json_array_foreach(resumed->unfinished.continues, i, id) {
        stored_run_free(&resumed->run);
        if (stored_run_open(&resumed->run, catalogue, json_string_value(id), calibrates, failure) &&
            is_whole(&resumed->run)) {
            return up_run_check_files(catalogue, &resumed->run.files, true, failure);
        }
    }
    return false;
}

bool resumed_run_open(struct resumed_run *resumed, const struct up_session_settings *settings,
                      bool calibrates, const struct up_item *item, struct up_failure *failure) {
    struct stored_run *run = &resumed->run;
    struct up_catalogue *catalogue = settings->catalogue;
    const char *id = settings->resume[0] != '\0' ? settings->resume : NULL;
    memset(resumed, 0, sizeof *resumed);
    if (!up_run_find_unfinished(catalogue, calibrates ? "calibrate" : "measure", settings->rig->id,
                                item != NULL ? item->id : NULL, id, &resumed->unfinished,
                                failure) ||
        !open_files(resumed, catalogue, calibrates, failure) ||
        !check_rig(run, settings->rig, failure)) {
        return false;
    }
    stored_run_trim(run);
    return calibrates ||
           (check_item(run, catalogue, failure) && check_calibration(run, settings, failure));
}

void resumed_run_free(struct resumed_run *resumed) {
    stored_run_free(&resumed->run);
    json_decref(resumed->unfinished.continues);
}
