/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The envelope of a record: its members and their forms, to and from its bytes. */
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "signing/internal.h"
#include "text/json.h"
#include "text/text.h"

/* A thousand ids and the longest bench are less. */
enum { ENVELOPE_BYTES_MOST = 1 << 16, FORMAT = 2 };

/* ---- the forms ---- */

static bool is_id(const char *text) {
    return up_text_has_form(text, "xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx");
}

static bool is_time(const char *text) {
    return up_text_has_form(text, "0000-00-00T00:00:00.000Z");
}

static bool is_hash(const char *text) {
    return up_text_is_hex(text, UP_SHA256_SIZE - 1);
}

/* Also of kinds that this program does not know. */
static bool is_kind(const char *text) {
    return text[0] != '\0' && text[0] != '_' &&
           text[strspn(text, "abcdefghijklmnopqrstuvwxyz_")] == '\0';
}

/* The members that are text. */
static const struct member {
    const char *name;
    size_t offset, size;
    bool (*is_good)(const char *text);
    bool may_lack; /* null in JSON, "" in the structure */
    const char *wrong;
} member[] = {
#define AT(name) #name, offsetof(struct up_envelope, name), sizeof((struct up_envelope *)NULL)->name
    {AT(id), is_id, false, "is not a UUID in lower case"},
    {AT(kind), is_kind, false, "is not the name of a kind"},
    {AT(subject), is_id, false, "is not a UUID in lower case"},
    {AT(bench), up_text_is_clean, false, "is not a name without control characters"},
    {AT(made_utc), is_time, false, "is not a time such as 2026-01-31T12:00:00.000Z"},
    {AT(writer), is_hash, false, "is not a key"},
    {AT(previous), is_hash, true, "is not a hash"},
    {AT(facts), is_hash, false, "is not a hash"},
    {AT(detail), is_hash, true, "is not a hash"},
#undef AT
};

enum { TEXTS = sizeof member / sizeof member[0], MEMBERS = TEXTS + 3 };

static const char *text_of(const struct up_envelope *envelope, const struct member *of) {
    return (const char *)envelope + of->offset;
}

static bool is_list_of_ids(const json_t *list) {
    const char *before = "";
    bool good = json_is_array(list) && json_array_size(list) <= UP_REPLACES_MOST;
    for (size_t i = 0; good && i < json_array_size(list); i++) {
        const char *id = json_string_value(json_array_get(list, i));
        good = id != NULL && is_id(id) && strcmp(before, id) < 0;
        before = id;
    }
    return good;
}

static bool name_fault(char fault[UP_FAULT_SIZE], const char *name, const char *wrong) {
    snprintf(fault, UP_FAULT_SIZE, "\"%s\" %s", name, wrong);
    return false;
}

static bool check(const struct up_envelope *envelope, char fault[UP_FAULT_SIZE]) {
    for (size_t i = 0; i < TEXTS; i++) {
        const char *text = text_of(envelope, &member[i]);
        if (!(member[i].may_lack && text[0] == '\0') && !member[i].is_good(text)) {
            return name_fault(fault, member[i].name, member[i].wrong);
        }
    }
    if (envelope->sequence < 1 || envelope->sequence > SEQUENCE_MOST) {
        return name_fault(fault, "sequence", "is not a whole number of 1 to 2^52");
    }
    if ((envelope->sequence == 1) != (envelope->previous[0] == '\0')) {
        return name_fault(fault, "previous",
                          envelope->sequence == 1 ? "stands in a writer's first record"
                                                  : "is lacking");
    }
    return is_list_of_ids(envelope->replaces) ||
           name_fault(fault, "replaces", "is not an ascending list of ids");
}

/* ---- to and from JSON ---- */

char *up_envelope_write(const struct up_envelope *envelope) {
    char fault[UP_FAULT_SIZE];
    if (!check(envelope, fault)) {
        return NULL;
    }
    json_auto_t *json = json_pack("{s:i, s:O, s:I}", "format", FORMAT, "replaces",
                                  envelope->replaces, "sequence", (json_int_t)envelope->sequence);
    for (size_t i = 0; i < TEXTS; i++) {
        const char *text = text_of(envelope, &member[i]);
        json_object_set_new(json, member[i].name,
                            member[i].may_lack && text[0] == '\0' ? json_null()
                                                                  : json_string(text));
    }
    return up_json_canonical(json);
}

static bool fill_text(const json_t *json, const struct member *of, struct up_envelope *envelope) {
    const json_t *value = json_object_get(json, of->name);
    size_t length = json_string_length(value);
    if (json_is_string(value) && length < of->size && !(of->may_lack && length == 0)) {
        memcpy((char *)envelope + of->offset, json_string_value(value), length);
        return true;
    }
    return of->may_lack && json_is_null(value); /* "" */
}

static bool fill(json_t *json, struct up_envelope *envelope, char fault[UP_FAULT_SIZE]) {
    if (json_object_size(json) != MEMBERS ||
        json_integer_value(json_object_get(json, "format")) != FORMAT) {
        snprintf(fault, UP_FAULT_SIZE, "it has not just the members of format %d", FORMAT);
        return false;
    }
    for (size_t i = 0; i < TEXTS; i++) {
        if (!fill_text(json, &member[i], envelope)) {
            return name_fault(fault, member[i].name, member[i].wrong);
        }
    }
    envelope->sequence = json_integer_value(json_object_get(json, "sequence"));
    envelope->replaces = json_incref(json_object_get(json, "replaces"));
    return check(envelope, fault);
}

/* ---- as most are written ---- */

static bool pass(const char **at, const char *words) {
    size_t length = strlen(words);
    bool there = strncmp(*at, words, length) == 0;
    *at += there ? length : 0;
    return there;
}

/* A text without an escape, of ASCII: one way to write it, whoever reads it. */
static bool pass_text(const char **at, char *to, size_t size, bool may_lack) {
    size_t length = 0;
    if (may_lack && pass(at, "null")) {
        return true;
    }
    if (!pass(at, "\"")) {
        return false;
    }
    while ((*at)[length] >= ' ' && (*at)[length] <= '~' && (*at)[length] != '"' &&
           (*at)[length] != '\\') {
        length++;
    }
    if ((*at)[length] != '"' || length >= size || (may_lack && length == 0)) {
        return false;
    }
    memcpy(to, *at, length);
    to[length] = '\0';
    *at += length + 1;
    return true;
}

static bool pass_sequence(const char **at, long long *sequence) {
    size_t digits = strspn(*at, "0123456789");
    bool good = digits > 0 && digits <= 16 && **at != '0';
    *sequence = good ? strtoll(*at, NULL, 10) : 0;
    *at += digits;
    return good;
}

/* The canonical form of one that replaces nothing, read in one pass; false for all others, too,
   which are read as JSON. */
static bool read_plain(const char *at, struct up_envelope *envelope) {
    char fault[UP_FAULT_SIZE];
#define PASS(words, name, may_lack)                                                                \
    (pass(&at, words "\"" #name "\":") &&                                                          \
     pass_text(&at, envelope->name, sizeof envelope->name, may_lack))
    bool good = PASS("{", bench, false) && PASS(",", detail, true) && PASS(",", facts, false) &&
                pass(&at, ",\"format\":2") && PASS(",", id, false) && PASS(",", kind, false) &&
                PASS(",", made_utc, false) && PASS(",", previous, true) &&
                pass(&at, ",\"replaces\":[],\"sequence\":") &&
                pass_sequence(&at, &envelope->sequence) && PASS(",", subject, false) &&
                PASS(",", writer, false) && strcmp(at, "}") == 0;
#undef PASS
    envelope->replaces = good ? json_array() : NULL;
    return good && check(envelope, fault);
}

bool up_envelope_read(const char *text, struct up_envelope *envelope, char fault[UP_FAULT_SIZE]) {
    json_t *json = NULL;
    bool good = false;
    *envelope = (struct up_envelope){.sequence = 0};
    fault[0] = '\0';
    if (read_plain(text, envelope)) {
        return true;
    }
    json_decref(envelope->replaces);
    *envelope = (struct up_envelope){.sequence = 0};
    if (strnlen(text, ENVELOPE_BYTES_MOST + 1) > ENVELOPE_BYTES_MOST) {
        snprintf(fault, UP_FAULT_SIZE, "it is longer than any envelope");
    } else if (!up_json_is_canonical(text, &json)) {
        snprintf(fault, UP_FAULT_SIZE, "it is not JSON in its canonical form (RFC 8785)");
    } else {
        good = fill(json, envelope, fault);
    }
    if (!good) {
        json_decref(envelope->replaces);
        *envelope = (struct up_envelope){.sequence = 0};
    }
    json_decref(json);
    return good;
}

/* Within a text a quotation mark has a backslash before it. */
bool up_envelope_has_detail(const char *text) {
    return strstr(text, ",\"detail\":null,") == NULL;
}

void up_envelope_hash(const char *text, char hex[UP_SHA256_SIZE]) {
    signing_hash("upthrust-record-2\n", text, strlen(text), hex);
}
