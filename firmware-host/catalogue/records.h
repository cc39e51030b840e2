/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the program itself stores in a catalogue, beside what upthrust/catalogue.h offers others. */
#pragma once

#include "upthrust/catalogue.h"

/* "yes", "no", "unknown"; UP_GAS_NOT_STATED for any other word. */
enum up_holds_gas up_holds_gas_of(const char *word);

/* Who waits is told how many records of a long list were read, now and then, and 0 at its end. */
void up_catalogue_watch(struct up_catalogue *catalogue,
                        void (*watch)(const char *doing, unsigned long done));

/* The tables that quick answers come from are made anew of the records. */
bool up_catalogue_mend(struct up_catalogue *catalogue, struct up_failure *failure);

/* From now on `each` visits of items, and of the runs, trials, results and decisions about items,
   only those about these, and the items that look like them by name: a question about a few things
   need not read all. NULL: all again. */
bool up_catalogue_focus(struct up_catalogue *catalogue, const char *const *item_ids, size_t items,
                        struct up_failure *failure);

/* As `each`, of items with this stock number, this name, its case aside, or an id that begins so.
 */
bool up_items_called(struct up_catalogue *catalogue, const char *text,
                     bool (*visit)(const struct up_record *record, void *context), void *context,
                     struct up_failure *failure);

/* As `each`, of results whose id begins so, case aside. */
bool up_results_begun(struct up_catalogue *catalogue, const char *beginning,
                      bool (*visit)(const struct up_record *record, void *context), void *context,
                      struct up_failure *failure);

/* A page of items: the ids of at most `limit`, in the order of one of their texts, behind the item
   `after_id` (NULL: from the first). Kind, maker, model and size as whole texts and `text` as parts
   of what is known, case aside; NULL: any. Of class and waters it may give more than have such a
   result; the caller looks. A new array; NULL where it fails. */
struct up_item_query {
    const char *kind, *maker, *model, *size, *class;
    const char *const *text, *const *waters;
    size_t texts, water_count, limit;
    const char *sort, *after_id;
    bool retired;
};
json_t *up_item_page(struct up_catalogue *catalogue, const struct up_item_query *query,
                     struct up_failure *failure);

/* A new UUID (random), lower case. */
void up_new_id(char id[UP_ID_SIZE]);

/* Adds one record and returns when it is on the disk. `subject` NULL: the record's own id. The
   content is borrowed. `replaces`: id of the version replaced, or NULL. `record_id` (may be NULL)
   gets the new record's id. */
bool up_catalogue_add(struct up_catalogue *catalogue, const char *kind, const char *subject,
                      const char *bench, json_t *content, const char *replaces,
                      char record_id[UP_ID_SIZE], struct up_failure *failure);

/* The ids of the live versions of a thing that a new one replaces, ascending: where some are held
   here, those alone. NULL where it fails. */
json_t *up_catalogue_live_ids(struct up_catalogue *catalogue, const char *kind, const char *subject,
                              struct up_failure *failure);

/* Whether the wall clock now stands before the latest record of a bench, whose time is then given:
   what is stored goes on by the bench's own count (bench_sequence), but its times are wrong. */
bool up_catalogue_clock_is_behind(struct up_catalogue *catalogue, const char *bench,
                                  char last_utc[UP_TIME_SIZE]);

/* A reference body was weighed in a run. `open_id` (may be NULL): of a check outside its limits
   that nobody has answered, or empty; the same one, confirmed, takes its place. */
bool up_check_add(struct up_catalogue *catalogue, const struct up_reference_check *check,
                  const char *run_id, const char *bench, char open_id[UP_ID_SIZE],
                  struct up_failure *failure);

bool up_calibration_add(struct up_catalogue *catalogue, struct up_calibration *calibration,
                        struct up_failure *failure);

/* The results of one run, all or none, each with its decision: class, probabilities and the
   question they answer. */
bool up_results_add(struct up_catalogue *catalogue, const struct up_result *result, size_t results,
                    const char *bench, struct up_failure *failure);

/* The results of here, the oldest first: what is made of one counts as made here, so those from
   elsewhere are only counted, in `elsewhere`, by item id. */
bool up_results_to_judge(struct up_catalogue *catalogue,
                         bool (*visit)(const struct up_record *record, void *context),
                         void *context, json_t *elsewhere, struct up_failure *failure);

/* Later decisions, all or none: a question, its probabilities and class under the given rule, about
   a result that is stored, or about a new one in another water (result_id empty), which is stored
   with it. What was decided before stays. */
struct up_decided {
    struct up_result result;
    char result_id[UP_ID_SIZE], bench[UP_NAME_SIZE];
    char rule[160];
};
bool up_decisions_add(struct up_catalogue *catalogue, const struct up_decided *decided,
                      size_t count, struct up_failure *failure);

/* JSON of what the catalogue keeps; new references, owned by the caller. A result's JSON holds at
   least the members pinned for exchange; `dof` is null where infinite. */
json_t *up_item_to_json(const struct up_item *item);
extern const char *const up_item_sides[]; /* what its side may be, ended by NULL */
json_t *up_reference_to_json(const struct up_reference *reference);
json_t *up_reference_check_to_json(const struct up_reference_check *check);
json_t *up_calibration_to_json(const struct up_calibration *calibration);
json_t *up_result_to_json(const struct up_result *result);
enum up_class up_class_of(const char *word);

/* Ids by their beginning: those of a guest are looked at only where none of here begins so,
   whatever it chose. `takes`: whether this one is the latest to look at; `found` counts them. */
struct up_beginning {
    const char *wanted;
    unsigned found;
    bool own;
};
bool up_beginning_takes(struct up_beginning *beginning, const char *id, bool elsewhere);

/* Which calibration of a bench a known mass is to bear out: one whose id begins with `wanted`, one
   of here before those of elsewhere; "": the newest of here, or adopted before, that is not trusted
   as it lies now; else the newest of elsewhere that is newer than those. */
bool up_calibration_to_adopt(struct up_catalogue *catalogue, const char *bench, const char *wanted,
                             struct up_calibration *calibration, struct up_failure *failure);
/* Whether the bench was calibrated here since a run began. */
bool up_calibration_made_since(struct up_catalogue *catalogue, const char *bench,
                               const char *run_id, bool *made, struct up_failure *failure);

/* In the one spelling that ids have here. */
bool up_is_uuid(const char *text);

/* Why a record, by its id or the beginning of it, does not count: "revoked", "recalled" or
   "waiting", and words about it for the caller to free; both NULL where nothing of this kind is
   known. */
bool up_left_out_why(struct up_catalogue *catalogue, const char *record_id, const char **how,
                     char **why, struct up_failure *failure);
/* How many results of an item are left out so, and the reason of one, as above. */
bool up_left_out_of_item(struct up_catalogue *catalogue, const char *item_id,
                         unsigned long *results, char **why, struct up_failure *failure);

/* Brings exchange/ in the catalogue's folder up to date for other programs. Where the catalogue has
   more records than `most` that would take longer with each: then two texts beside the files tell
   that they are out of date, until an export writes them (`late`). */
extern unsigned long up_exchange_records_most; /* tests lower it */
bool up_exchange_update(struct up_catalogue *catalogue, bool *late, struct up_failure *failure);
#define UP_EXCHANGE_LATE                                                                           \
    "exchange/ is out of date: this catalogue is large, and `upthrust export` writes it when you " \
    "want it"
