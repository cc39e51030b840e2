/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records of another catalogue, taken as hostile until their form, members and hash are good. */
#include <string.h>

#include "internal.h"
#include "text/text.h"

enum { REPLACES_MAX = 1000 };

struct admission {
    struct up_catalogue *catalogue;
    struct up_record *record;
    json_t *replaces;
    const char *where;
    bool sound; /* whoever read it has compared it with its envelope */
    struct up_failure *failure;
};

static bool refuse(const struct admission *admission, const char *member, const char *wanted) {
    return up_fail(admission->failure, UP_STATUS_WRONG_INPUT,
                   "%.200s, record %.36s: %s%s%s; nothing was stored", admission->where,
                   admission->record->id, member, wanted[0] != '\0' ? " " : "", wanted);
}

/* Away, or never there: then what remains is all of it. */
static bool has_lost_detail(const struct up_record *record) {
    return record->envelope != NULL && record->detail == NULL &&
           up_envelope_has_detail(record->envelope);
}

/* ---- form ---- */

bool up_is_uuid(const char *text) {
    return up_text_has_form(text, "xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx");
}

bool catalogue_is_time(const char *text) {
    return up_text_has_form(text, "0000-00-00T00:00:00.000Z");
}

static int two_digits(const char *at) {
    return (at[0] - '0') * 10 + at[1] - '0';
}

/* What is stored is let be: it would only be another record that nobody can read. */
static bool is_on_calendar(const char *utc) {
    int month = two_digits(utc + 5), day = two_digits(utc + 8);
    return month >= 1 && month <= 12 && day >= 1 && day <= 31 && two_digits(utc + 11) < 24 &&
           two_digits(utc + 14) < 60 && two_digits(utc + 17) <= 60; /* a leap second */
}

bool catalogue_has_form(const struct up_record *record) {
    return up_is_uuid(record->id) && up_is_uuid(record->subject) &&
           catalogue_is_time(record->made_utc) && up_text_is_clean(record->bench);
}

static bool check_replaces(const struct admission *admission) {
    const char *before = "";
    if (!json_is_array(admission->replaces) ||
        json_array_size(admission->replaces) > REPLACES_MAX) {
        return refuse(admission, "\"replaces\"", "is not a list of ids");
    }
    for (size_t i = 0; i < json_array_size(admission->replaces); i++) {
        const char *id = json_string_value(json_array_get(admission->replaces, i));
        if (id == NULL || !up_is_uuid(id) || strcmp(before, id) >= 0) {
            return refuse(admission, "\"replaces\"", "is not an ascending list of ids");
        }
        before = id;
    }
    return true;
}

static bool check_form(const struct admission *admission) {
    const struct up_record *record = admission->record;
    if (!up_is_uuid(record->id)) {
        return refuse(admission, "\"id\"", "is not a UUID in lower case");
    }
    if (!up_is_uuid(record->subject)) {
        return refuse(admission, "\"subject\"", "is not a UUID in lower case");
    }
    if (strspn(record->sha256, "0123456789abcdef") != UP_SHA256_SIZE - 1) {
        return refuse(admission, "\"sha256\"", "is not a hash");
    }
    if (!catalogue_is_time(record->made_utc) || !is_on_calendar(record->made_utc)) {
        return refuse(admission, "\"made_utc\"", "is not a time such as 2026-01-31T12:00:00.000Z");
    }
    if (!up_text_is_clean(record->bench)) {
        return refuse(admission, "\"bench\"", "contains control characters");
    }
    return check_replaces(admission);
}

/* What is wrong with the content; NULL where nothing is. The text lives in `fault`. */
static const char *fault_of(const struct catalogue_table *table, const json_t *content,
                            bool columns_only, struct member_fault *fault) {
    if (!(columns_only ? members_check_columns : members_check)(table->members, content, fault)) {
        return fault->text;
    }
    snprintf(fault->place, sizeof fault->place, "%s", table->kind);
    return table->fault != NULL ? table->fault(content) : NULL;
}

/* Of kinds that have no such column, too: whatever names a bench moves its count. */
static bool is_count(const json_t *sequence) {
    json_int_t number = json_integer_value(sequence);
    return sequence == NULL || json_is_null(sequence) ||
           (json_is_integer(sequence) && number >= 0 && number <= SEQUENCE_MOST);
}

/* Every program that signs has stored these with detail, so that they can be explained. */
static bool is_never_bare(const char *kind) {
    return strcmp(kind, "result") == 0 || strcmp(kind, "trial") == 0 ||
           strcmp(kind, "calibration") == 0;
}

/* Names that an export puts beside a content, where a member would be lost or taken for one of
   them; but some contents name their bench. */
static bool check_names(const struct admission *admission, json_t *part, bool of_facts) {
    const struct up_record *record = admission->record;
    const struct catalogue_table *table = catalogue_table_of(record->kind);
    const char *key;
    json_t *value;
    json_object_foreach(part, key, value) {
        bool bench = of_facts && strcmp(key, "bench") == 0 && json_is_string(value) &&
                     strcmp(json_string_value(value), record->bench) == 0;
        if (table != NULL && catalogue_is_of_export(table, key) && !bench) {
            UP_FREED char *name = up_text_format("\"%.40s\"", key);
            return refuse(admission, name, "stands within its content, and belongs beside it");
        }
    }
    return true;
}

/* Of a kind that a newer program made, whose members cannot be known: who signed it answers for
   it, and it is passed on unseen. Detail that was taken away is missing as a whole. */
static bool check_members(const struct admission *admission) {
    const struct up_record *record = admission->record;
    const struct catalogue_table *table = catalogue_table_of(record->kind);
    struct member_fault fault;
    char place[sizeof fault.place + 2];
    if (!json_is_object(record->content)) {
        return refuse(admission, "its body", "is not a JSON object");
    }
    if (table == NULL) {
        return record->envelope != NULL ||
               refuse(admission, "its kind", "is not known to this program: update upthrust");
    }
    if (record->envelope != NULL && is_never_bare(record->kind) &&
        !up_envelope_has_detail(record->envelope)) {
        return refuse(admission, "it was signed without detail,", "which its kind always has");
    }
    const char *wrong = fault_of(table, record->content, has_lost_detail(record), &fault);
    snprintf(place, sizeof place, "\"%s\"", fault.place);
    if (wrong == NULL && strcmp(table->kind, "gear_kind") == 0 &&
        !catalogue_kind_is_subject(record->content, record->subject)) {
        return refuse(admission, "\"subject\"", "is not that of the kind's name");
    }
    return (wrong == NULL || refuse(admission, place, wrong)) &&
           (record->envelope != NULL || check_names(admission, record->content, true));
}

static bool check_count(const struct admission *admission) {
    return is_count(json_object_get(admission->record->content, "bench_sequence")) ||
           refuse(admission, "\"bench_sequence\"", "is not a whole number of 0 to 2^52");
}

bool catalogue_check_content(const char *kind, const json_t *content, struct up_failure *failure) {
    struct member_fault fault;
    const char *wrong = fault_of(catalogue_table_of(kind), content, false, &fault);
    return wrong == NULL ||
           up_fail(failure, UP_STATUS_UNABLE, "this %s cannot be stored: \"%s\" %s", kind,
                   fault.place, wrong);
}

static bool fail_size(const struct admission *admission) {
    return refuse(admission, "its body", "is larger than a megabyte");
}

static bool check_hash(const struct admission *admission) {
    struct up_record copy = *admission->record;
    if (copy.envelope != NULL) {
        return true;
    }
    UP_FREED char *content = json_dumps(copy.content, JSON_COMPACT | JSON_REAL_PRECISION(17));
    if (content == NULL || strlen(content) > CATALOGUE_CONTENT_BYTES_MAX) {
        return fail_size(admission);
    }
    return (catalogue_hash(&copy, admission->replaces) &&
            strcmp(copy.sha256, admission->record->sha256) == 0) ||
           refuse(admission, "\"sha256\"",
                  "does not fit its content: it was changed or is damaged");
}

/* ---- as it was signed ---- */

/* In the one way to write them, so that no two programs read them differently. A column stands
   among the facts, no member in both; a newer program may have more of either. */
static bool check_parts(const struct admission *admission) {
    const struct up_record *record = admission->record;
    size_t length = strlen(record->facts) + (record->detail != NULL ? strlen(record->detail) : 0);
    json_auto_t *facts = NULL, *detail = NULL;
    const char *key;
    json_t *value;
    if (length > CATALOGUE_CONTENT_BYTES_MAX) {
        return fail_size(admission);
    }
    if (record->detail == NULL) { /* then they were read as the content */
        UP_FREED char *canonical = up_json_canonical(record->content);
        return ((canonical != NULL && strcmp(canonical, record->facts) == 0) ||
                refuse(admission, "its facts", "are not in the canonical form of JSON")) &&
               check_names(admission, record->content, true);
    }
    if (!up_json_is_canonical(record->facts, &facts)) {
        return refuse(admission, "its facts", "are not in the canonical form of JSON");
    }
    if (!up_json_is_canonical(record->detail, &detail)) {
        return refuse(admission, "its detail", "is not in the canonical form of JSON");
    }
    json_object_foreach(detail, key, value) {
        if (json_object_get(facts, key) != NULL || catalogue_is_fact(record->kind, key)) {
            return refuse(admission, "its detail", "has a member that belongs to the facts");
        }
    }
    return check_names(admission, facts, true) && check_names(admission, detail, false);
}

static bool check_signature(const struct admission *admission) {
    const struct up_record *record = admission->record;
    char fault[UP_FAULT_SIZE];
    if (!admission->sound && !catalogue_is_enveloped(record, admission->replaces, fault)) {
        return refuse(admission, fault, "");
    }
    if (strcmp(record->kind, "writer") == 0 &&
        strcmp(up_record_text(record->content, "writer"), record->writer) != 0) {
        return refuse(admission, "\"writer\"", "is not the key that signed it");
    }
    return check_parts(admission) &&
           (up_signature_holds(record->writer, record->sha256, record->signature) ||
            refuse(admission, "its signature", "is not that of its writer"));
}

/* ---- how deep ---- */

/* Nothing of ours is deeper than seven. A document puts some levels around a record, and those who
   read one stop at a depth: one deep record would make all of an export one that nobody takes. */
enum { DEPTH_MOST = 32 };

static bool is_deeper(json_t *json, int most) {
    const char *key;
    json_t *value;
    size_t i;
    bool deeper = most < 0;
    if (json_is_object(json)) {
        json_object_foreach(json, key, value) {
            deeper = deeper || is_deeper(value, most - 1);
        }
    } else if (json_is_array(json)) {
        json_array_foreach(json, i, value) {
            deeper = deeper || is_deeper(value, most - 1);
        }
    }
    return deeper;
}

bool catalogue_is_too_deep(json_t *content) {
    return is_deeper(content, DEPTH_MOST);
}

/* ---- beside what is here ---- */

/* Under another id than its own: the hash leaves out the id, otherwise one measurement could be
   imported repeatedly. It can be told from the record alone, in whatever order others come. */
static bool is_under_another_id(const struct admission *admission) {
    const struct up_record *record = admission->record;
    const struct catalogue_table *table = catalogue_table_of(record->kind);
    bool own = table == NULL || !table->alone || strcmp(record->id, record->subject) == 0;
    for (size_t i = 0; !own && i < json_array_size(admission->replaces); i++) {
        own =
            strcmp(json_string_value(json_array_get(admission->replaces, i)), record->subject) == 0;
    }
    return !own;
}

/* Whether the id is here already, with the same hash or with another: somebody changed what is
   never changed. */
static bool find_same_id(const struct admission *admission, enum catalogue_admitted *how) {
    const struct up_record *record = admission->record;
    json_auto_t *hashes = catalogue_hashes_of(admission->catalogue, record->id, admission->failure);
    bool good = hashes != NULL;
    *how = json_array_size(hashes) > 0 ? ADMITTED_CONTESTED : ADMITTED_FRESH;
    for (size_t i = 0; i < json_array_size(hashes); i++) {
        if (strcmp(json_string_value(json_array_get(hashes, i)), record->sha256) == 0) {
            *how = ADMITTED_KNOWN;
        }
    }
    return good;
}

/* What was taken away here does not come back, nor does other content under its id. */
static bool contest(const struct admission *admission, enum catalogue_admitted *how) {
    long long gone = 0;
    const struct up_record *record = admission->record;
    *how = ADMITTED_KNOWN;
    return catalogue_ask(admission->catalogue, "SELECT " CATALOGUE_IS_GONE("?"), record->id, &gone,
                         admission->failure) &&
           (gone > 0 || catalogue_contest(admission->catalogue, record, admission->replaces, how,
                                          admission->failure));
}

/* Of a thing that has versions, the same version twice changes nothing. */
static bool keep(const struct admission *admission, enum catalogue_admitted *how) {
    long long others = 0;
    bool good =
        catalogue_ask(admission->catalogue, "SELECT EXISTS (SELECT 1 FROM record WHERE sha256 = ?)",
                      admission->record->sha256, &others, admission->failure);
    *how = others > 0 ? ADMITTED_COPY : ADMITTED_FRESH;
    return good &&
           catalogue_insert(admission->catalogue, admission->record, admission->replaces,
                            admission->failure) &&
           catalogue_unsettle(admission->catalogue, admission->record->kind,
                              admission->record->subject, admission->failure);
}

bool catalogue_admit(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                     const char *where, bool sound, enum catalogue_admitted *how,
                     struct up_failure *failure) {
    const struct admission admission = {catalogue, record, replaces, where, sound, failure};
    *how = ADMITTED_REFUSED;
    if (!check_form(&admission) || (record->envelope != NULL && !check_signature(&admission)) ||
        !check_members(&admission) || !check_count(&admission) || !check_hash(&admission)) {
        return false;
    }
    if (is_under_another_id(&admission) || catalogue_is_too_deep(record->content)) {
        return true;
    }
    *how = ADMITTED_KNOWN;
    return find_same_id(&admission, how) &&
           (*how == ADMITTED_FRESH       ? keep(&admission, how)
            : *how == ADMITTED_CONTESTED ? contest(&admission, how)
                                         : catalogue_add_known(catalogue, record, failure));
}
