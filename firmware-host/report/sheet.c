/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Everything about one item on one sheet. */
#include <stdlib.h>
#include <string.h>

#include "catalogue/records.h"
#include "catalogue/verification.h"
#include "report/report.h"
#include "text/text.h"

/* ---- its results ---- */

struct entry {
    json_t *content; /* owned */
    char id[UP_ID_SIZE], bench[UP_NAME_SIZE], made_utc[UP_TIME_SIZE];
    struct up_result result; /* its class is that of the current decision */
    bool newest;             /* of its water */
    bool withdrawn;          /* its number is not shown */
    enum up_checked checked;
    const char *body_check; /* the same as exports have it */
    bool elsewhere;
};

struct results {
    const struct up_item *item;
    struct entry *entry;
    size_t count;
    json_t *decisions; /* owned, as is this: whether a reference body spoke for each */
    struct up_verifier *verifier;
};

static bool keep(const struct up_record *record, void *context) {
    struct results *results = context;
    const char *checked = up_verifier_visit(results->verifier, record);
    if (strcmp(up_record_text(record->content, "item_id"), results->item->id) != 0) {
        return true;
    }
    results->entry = up_reallocate(results->entry, results->count + 1, sizeof *results->entry);
    struct entry *entry = &results->entry[results->count++];
    *entry = (struct entry){.content = json_incref(record->content), .newest = true};
    up_result_from_json(record->content, &entry->result);
    entry->result.simulated = up_claim_is_simulated(record->content, record->bench);
    entry->withdrawn = up_claim_is_withdrawn(record->content, results->item->compressible);
    up_decision_apply(json_object_get(results->decisions, record->subject), &entry->result);
    entry->elsewhere = record->elsewhere;
    entry->body_check = checked;
    entry->checked = up_checked_of(checked);
    memcpy(entry->id, record->subject, sizeof entry->id);
    memcpy(entry->bench, record->bench, sizeof entry->bench);
    memcpy(entry->made_utc, record->made_utc, sizeof entry->made_utc);
    for (size_t i = 0; i + 1 < results->count; i++) {
        if (strcmp(up_record_text(results->entry[i].content, "water"),
                   up_record_text(entry->content, "water")) == 0) {
            bool stays = entry->elsewhere && !results->entry[i].elsewhere; /* that of here */
            *(stays ? &entry->newest : &results->entry[i].newest) = false;
        }
    }
    return true;
}

static void release(struct results *results) {
    for (size_t i = 0; i < results->count; i++) {
        json_decref(results->entry[i].content);
    }
    free(results->entry);
    json_decref(results->decisions);
    up_verifier_release(results->verifier);
}

/* ---- in words ---- */

static void print_labelled(FILE *stream, const char *label, const char *text, bool isolate) {
    if (text[0] != '\0') {
        fprintf(stream, "%s", label);
        up_text_put(stream, text, 0, isolate);
    }
}

static void print_item(const struct up_item *item, const struct up_style *style, FILE *stream) {
    char tolerance[UP_SHOWN_SIZE], pieces[UP_CLAIM_SIZE];
    up_style_lead(style, item->tolerance_g, tolerance);
    up_claim_pieces(item->pieces, pieces);
    up_text_put(stream, item->name, 0, style->isolate);
    fprintf(stream, "\n  id %s\n  ", item->id);
    up_text_put(stream, item->kind, 0, style->isolate);
    fprintf(stream, ", %s", pieces);
    print_labelled(stream, ", maker ", item->maker, style->isolate);
    print_labelled(stream, ", model ", item->model, style->isolate);
    print_labelled(stream, ", size ", item->size, style->isolate);
    print_labelled(stream, ", side ", item->side, false);
    print_labelled(stream, ", stock number ", item->stock_number, style->isolate);
    print_labelled(stream, "\n  note: ", item->note, style->isolate);
    fputs(item->retired ? "\n  retired: kept, shown only when asked for" : "", stream);
    fprintf(stream, "\n  neutral within %s", tolerance);
    if (item->compressible) {
        fprintf(stream, "; holds gas: %s; results hold only at their depth\n",
                item->holds_gas == UP_GAS_UNKNOWN ? "unknown, which counts as yes" : "yes");
    } else {
        fprintf(stream, "; volume expansion %.2g 1/K (standard uncertainty %.2g)\n",
                item->expansion_per_k, item->u_expansion_per_k);
    }
}

static bool print_parts(struct up_catalogue *catalogue, const struct up_item *item,
                        const struct up_style *style, FILE *stream, struct up_failure *failure) {
    for (int i = 0; i < item->parts; i++) {
        struct up_item part = {0};
        struct up_failure unknown;
        bool known = up_item_find(catalogue, item->part_id[i], &part, &unknown);
        if (!known && unknown.status != UP_STATUS_WRONG_INPUT) {
            *failure = unknown;
            return false;
        }
        fprintf(stream, "  %s ", i == 0 ? "measured together:" : "  and");
        up_text_put(stream, known ? part.name : "an item that is not here", 0, style->isolate);
        fprintf(stream, " (%.8s)\n", item->part_id[i]);
    }
    return true;
}

/* "2026-01-02T03:04:05.678Z" as "2026-01-02 03:04 UTC". */
static void print_when(FILE *stream, const char *made_utc) {
    UP_FREED char *when = up_text_for_terminal(made_utc);
    if (strlen(when) >= 16) {
        fprintf(stream, "%.10s %.5s UTC", when, when + 11);
    }
}

static void print_newest(const struct entry *entry, const struct up_item *item,
                         const struct up_style *style, FILE *stream) {
    if (entry->withdrawn) {
        fputs("  ", stream);
        up_text_put(stream, up_record_text(entry->content, "water"), 10, style->isolate);
        fputs(" " UP_CLAIM_WITHDRAWN "\n", stream);
        return;
    }
    up_result_print(&entry->result, item, style, stream);
    if (entry->result.measured) {
        up_result_remarks_print(entry->content, style, stream);
    }
}

/* Its parts, as many on a line as fit. */
static void print_method(FILE *stream, const char *method) {
    enum { INDENT = 4, COLUMNS = 80 };
    char *safe = up_text_for_terminal(method);
    int column = COLUMNS;
    for (char *part = safe; part[0] != '\0';) {
        int bytes = (int)(strcspn(part, ";") + (strchr(part, ';') != NULL));
        if (column + bytes > COLUMNS) {
            fprintf(stream, "\n%*s", INDENT, "");
            column = INDENT;
        } else {
            fputc(' ', stream);
        }
        fprintf(stream, "%.*s", bytes, part);
        column += bytes + 1;
        part += bytes;
        part += strspn(part, " ");
    }
    fputc('\n', stream);
    free(safe);
}

/* What the results of one run have in common. */
static void print_run(const struct entry *entry, const struct up_style *style, FILE *stream) {
    fputs("  weighed ", stream);
    print_when(stream, entry->made_utc);
    print_labelled(stream, " on bench ", entry->bench, style->isolate);
    print_labelled(stream, ",\n    run ", up_record_text(entry->content, "run_id"), false);
    print_method(stream, up_record_text(entry->content, "method"));
    if (entry->checked != UP_CHECKED_INSIDE) {
        fprintf(stream, "    %s\n", up_checked_meaning(entry->checked));
    }
    if (entry->elsewhere) {
        fputs("    " UP_ELSEWHERE_MEANING "\n", stream);
    }
}

static int rank_of(const struct entry *entry) {
    static const char *const usual[] = {"tank", "fresh", "sea"};
    int rank = 0;
    while (rank < 3 && strcmp(up_record_text(entry->content, "water"), usual[rank]) != 0) {
        rank++;
    }
    return rank;
}

/* Runs from the latest on, in each the usual waters first. */
static int by_run_and_water(const void *a, const void *b) {
    const struct entry *x = a, *y = b;
    int runs = strcmp(up_record_text(x->content, "run_id"), up_record_text(y->content, "run_id"));
    int times = strcmp(y->made_utc, x->made_utc);
    int ranks = rank_of(x) - rank_of(y);
    return runs == 0 && ranks != 0 ? ranks
           : times != 0            ? times
           : runs != 0             ? runs
                                   : strcmp(x->id, y->id);
}

static void print_older(const struct entry *entry, const struct up_style *style, FILE *stream) {
    char net[UP_SHOWN_SIZE], u[UP_SHOWN_SIZE], pieces[UP_CLAIM_SIZE];
    up_claim_pieces(entry->result.pieces, pieces);
    up_style_mass(style, up_record_number(entry->content, "buoyancy_g"), net);
    up_style_interval(style, up_record_number(entry->content, "expanded_u_g"),
                      up_record_number(entry->content, "stuck_air_g"), u);
    fputs("  ", stream);
    up_text_put(stream, up_record_text(entry->content, "water"), 10, style->isolate);
    fputc(' ', stream);
    print_when(stream, entry->made_utc);
    fputs("  ", stream);
    up_style_class(style, up_class_name(entry->result.answer.class), 9, stream);
    fprintf(stream, " %10s %s, %s%s%s%s%s%s\n", net, u, pieces,
            entry->result.simulated ? ", simulated" : "",
            entry->result.rejudged ? ", judged again since" : "",
            entry->checked == UP_CHECKED_INSIDE ? "" : ", ",
            entry->checked == UP_CHECKED_OUTSIDE ? "body outside"
            : entry->checked == UP_CHECKED_NOT   ? "unchecked"
                                                 : "",
            entry->elsewhere ? ", from elsewhere" : "");
}

static bool same_run(const struct entry *a, const struct entry *b) {
    return strcmp(up_record_text(a->content, "run_id"), up_record_text(b->content, "run_id")) ==
               0 &&
           a->elsewhere == b->elsewhere && a->checked == b->checked; /* else marked apart */
}

static void print_all_newest(const struct results *results, const struct up_style *style,
                             FILE *stream) {
    const struct entry *last = NULL;
    for (size_t i = 0; i < results->count; i++) {
        const struct entry *entry = &results->entry[i];
        if (!entry->newest) {
            continue;
        }
        if (last == NULL) {
            fputs("newest result in each water:\n", stream);
        } else if (!same_run(last, entry)) {
            print_run(last, style, stream);
        }
        print_newest(entry, results->item, style, stream);
        last = entry;
    }
    if (last != NULL) {
        print_run(last, style, stream);
    } else {
        fputs("not measured yet: `upthrust measure --rig FILE --item NAME_OR_ID` does it\n",
              stream);
    }
}

static void print_all_older(const struct results *results, const struct up_style *style,
                            FILE *stream) {
    bool any = false;
    for (size_t i = 0; i < results->count; i++) {
        if (!results->entry[i].newest && !results->entry[i].withdrawn) {
            fputs(any ? "" : "older results:\n", stream);
            print_older(&results->entry[i], style, stream);
            any = true;
        }
    }
}

static bool load(struct up_catalogue *catalogue, struct results *results,
                 struct up_failure *failure) {
    results->decisions = up_decisions_later(catalogue, failure);
    results->verifier = up_verifier_begin(catalogue, failure);
    bool good = results->decisions != NULL && results->verifier != NULL &&
                up_catalogue_each(catalogue, "result", keep, results, failure);
    if (good && results->count > 0) {
        qsort(results->entry, results->count, sizeof *results->entry, by_run_and_water);
    }
    return good;
}

bool up_sheet_print(struct up_catalogue *catalogue, const struct up_item *item,
                    const struct up_style *style, FILE *stream, struct up_failure *failure) {
    struct results results = {.item = item};
    bool good = load(catalogue, &results, failure);
    if (good) {
        print_item(item, style, stream);
        good = print_parts(catalogue, item, style, stream, failure);
        print_all_newest(&results, style, stream);
        print_all_older(&results, style, stream);
        if (results.count > 0) {
            fputs("These numbers prepare a dive. A weight check in the water decides.\n", stream);
        }
    }
    release(&results);
    return good;
}

/* ---- as JSON ---- */

json_t *up_sheet_to_json(struct up_catalogue *catalogue, const struct up_item *item,
                         struct up_failure *failure) {
    struct results results = {.item = item};
    bool good = load(catalogue, &results, failure);
    json_t *list = json_array(), *withdrawn = json_array(), *of_item = up_item_to_json(item);
    for (size_t i = 0; good && i < results.count; i++) {
        const struct entry *entry = &results.entry[i];
        if (entry->withdrawn) {
            json_array_append_new(withdrawn,
                                  json_pack("{s:s, s:s}", "result_id", entry->id, "water",
                                            up_record_text(entry->content, "water")));
            continue;
        }
        json_t *json = json_copy(entry->content);
        json_object_update_new(
            json, json_pack("{s:s, s:s, s:s, s:b, s:s, s:b, s:O*}", "result_id", entry->id, "bench",
                            entry->bench, "made_utc", entry->made_utc, "newest", entry->newest,
                            "body_check", entry->body_check, "elsewhere", entry->elsewhere,
                            "decision", json_object_get(results.decisions, entry->id)));
        json_array_append_new(list, json);
    }
    release(&results);
    json_object_set_new(of_item, "item_id", json_string(item->id));
    json_t *document = json_pack("{s:s, s:o, s:o, s:o}", "schema", "upthrust-show-1", "item",
                                 of_item, "results", list, "withdrawn", withdrawn);
    if (!good) {
        json_decref(document);
        return NULL;
    }
    return document;
}
