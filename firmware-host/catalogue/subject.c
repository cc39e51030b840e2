/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the things share that people name: items and reference bodies. */
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <uuid/uuid.h>

#include "internal.h"
#include "text/text.h"

enum { NAME_MAX_BYTES = 300, SHOWN_MAX = 5, PREFIX_LEAST = 4 };

/* ---- adding ---- */

bool catalogue_clean_name(char text[UP_NAME_SIZE], const struct catalogue_noun *noun,
                          const char *option, bool needed, struct up_failure *failure) {
    UP_FREED char *better = up_text_clean(text, strnlen(text, UP_NAME_SIZE));
    size_t length = strlen(better);
    bool good = length <= NAME_MAX_BYTES && (!needed || strspn(better, " ") < length);
    if (good) {
        memcpy(text, better, length + 1);
    } else {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "%s's --%s must be %s and at most %d bytes long",
                noun->with_article, option, needed ? "more than spaces" : "UTF-8", NAME_MAX_BYTES);
    }
    return good;
}

/* Ids go into file names and are compared as bytes: one spelling only. */
bool catalogue_settle_id(char id[UP_ID_SIZE], const struct catalogue_noun *noun,
                         struct up_failure *failure) {
    uuid_t uuid;
    if (id[0] == '\0') {
        up_new_id(id);
        return true;
    }
    if (memchr(id, '\0', UP_ID_SIZE) == NULL || uuid_parse(id, uuid) != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "\"%.36s\" is not an id of %s: ids are UUIDs", id, noun->with_article);
    }
    uuid_unparse_lower(uuid, id);
    return true;
}

bool catalogue_put_version(struct up_catalogue *catalogue, const struct catalogue_noun *noun,
                           const char id[UP_ID_SIZE], json_t *content, struct up_failure *failure) {
    struct up_record record = {.content = content};
    if (!catalogue_check_content(noun->kind, content, failure) ||
        !catalogue_begin(catalogue, failure)) {
        json_decref(content);
        return false;
    }
    /* Named, so that a clock set back cannot leave an older version current. */
    json_auto_t *replaces = up_catalogue_live_ids(catalogue, noun->kind, id, failure);
    snprintf(record.kind, sizeof record.kind, "%s", noun->kind);
    memcpy(record.subject, id, sizeof record.subject);
    bool good = replaces != NULL && catalogue_put(catalogue, &record, replaces, failure);
    json_decref(content);
    return catalogue_end(catalogue, good, failure);
}

/* ---- ids by their beginning ---- */

bool up_beginning_takes(struct up_beginning *beginning, const char *id, bool elsewhere) {
    if (strncasecmp(id, beginning->wanted, strlen(beginning->wanted)) != 0 ||
        (elsewhere && beginning->own)) {
        return false;
    }
    beginning->found = !elsewhere && !beginning->own ? 1 : beginning->found + 1;
    beginning->own = !elsewhere;
    return true;
}

/* ---- finding ---- */

/* A name and the beginning of an id have equal rank: the program does not guess which of two was
   meant. */
enum match {
    MATCH_NONE,
    MATCH_FOLDED_ELSEWHERE,
    MATCH_PART_ELSEWHERE, /* a guest's name never stands before one of here, however it is spelled
                           */
    MATCH_FOLDED,
    MATCH_PART,
    MATCH_ID
};

struct candidate {
    char id[UP_ID_SIZE];
    char name[UP_NAME_SIZE];
    char apart[3 * 24]; /* what tells it from others of its name: ", size L, ..." */
};

struct search {
    const struct catalogue_noun *noun;
    const char *wanted;
    enum match best;
    unsigned count; /* of the best kind */
    bool by_beginning;
    json_t *content; /* of the latest of them */
    bool elsewhere;
    struct candidate shown[SHOWN_MAX];
    size_t nearest_steps;
    char nearest[UP_NAME_SIZE];
};

static bool begins_id(const char *wanted, const char *id) {
    return strlen(wanted) >= PREFIX_LEAST && strncasecmp(wanted, id, strlen(wanted)) == 0;
}

static enum match match_of(const char *wanted, const struct candidate *candidate, bool elsewhere) {
    if (strcasecmp(wanted, candidate->id) == 0) {
        return MATCH_ID;
    }
    if (strcmp(wanted, candidate->name) == 0 || begins_id(wanted, candidate->id)) {
        return elsewhere ? MATCH_PART_ELSEWHERE : MATCH_PART;
    }
    return strcasecmp(wanted, candidate->name) != 0 ? MATCH_NONE
           : elsewhere                              ? MATCH_FOLDED_ELSEWHERE
                                                    : MATCH_FOLDED;
}

static void note_match(struct search *search, enum match match, const struct candidate *candidate,
                       const struct up_record *record) {
    if (match > search->best) {
        search->best = match;
        search->count = 0;
        search->by_beginning = false;
    }
    if (search->count < SHOWN_MAX) {
        search->shown[search->count] = *candidate;
    }
    search->count++;
    json_decref(search->content);
    search->content = json_incref(record->content);
    search->elsewhere = record->elsewhere;
    search->by_beginning = search->by_beginning || begins_id(search->wanted, candidate->id);
}

static int cut_at_character(const char *text, size_t most);

static void tell_apart(const json_t *content, struct candidate *candidate) {
    static const char *const said[][2] = {
        {"size", "size "}, {"maker", ""}, {"stock_number", "number "}};
    candidate->apart[0] = '\0';
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        const char *text = up_record_text(content, said[i][0]);
        size_t length = strlen(candidate->apart);
        if (text[0] != '\0') {
            snprintf(candidate->apart + length, sizeof candidate->apart - length, ", %s%.*s",
                     said[i][1], cut_at_character(text, 14), text);
        }
    }
}

static bool consider(const struct up_record *record, void *context) {
    struct search *search = context;
    struct candidate candidate;
    if (!catalogue_read_text(record->content, "name", candidate.name, sizeof candidate.name)) {
        return true;
    }
    memcpy(candidate.id, record->subject, sizeof candidate.id);
    tell_apart(record->content, &candidate);
    size_t steps = up_text_distance(search->wanted, candidate.name);
    if (steps < search->nearest_steps) {
        search->nearest_steps = steps;
        memcpy(search->nearest, candidate.name, sizeof candidate.name);
    }
    enum match match = match_of(search->wanted, &candidate, record->elsewhere);
    if (match != MATCH_NONE && match >= search->best) {
        note_match(search, match, &candidate, record);
    }
    return true;
}

/* Bytes of the longest beginning of at most `most` bytes that cuts no character of UTF-8. */
static int cut_at_character(const char *text, size_t most) {
    size_t length = strlen(text);
    if (length > most) {
        for (length = most; length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80; length--) {
        }
    }
    return (int)length;
}

static bool fail_ambiguous(const struct search *search, struct up_failure *failure) {
    char *list = up_text_format("%s", "");
    for (unsigned i = 0; i < search->count && i < SHOWN_MAX; i++) {
        const struct candidate *one = &search->shown[i];
        char *longer = up_text_format("%s%s%s (%.*s%s)", list, i > 0 ? ", " : "", one->id,
                                      cut_at_character(one->name, 20), one->name, one->apart);
        free(list);
        list = longer;
    }
    up_fail(failure, UP_STATUS_WRONG_INPUT, "%u %s %s \"%.*s\": give the id, one of %s%s",
            search->count, search->noun->several, search->by_beginning ? "fit" : "are called",
            cut_at_character(search->wanted, 60), search->wanted, list,
            search->count > SHOWN_MAX ? ", ..." : "");
    free(list);
    return false;
}

static bool fail_unknown(const struct search *search, struct up_failure *failure) {
    const struct catalogue_noun *noun = search->noun;
    const char *wanted = search->wanted;
    if (search->nearest[0] == '\0') {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "no %s \"%.*s\": there are none yet, `upthrust %s add` registers one",
                       noun->one, cut_at_character(wanted, 80), wanted, noun->command);
    }
    if (search->nearest_steps > strlen(search->nearest) / 2) { /* nothing like it */
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "no %s \"%.*s\": `upthrust %s list` shows all", noun->one,
                       cut_at_character(wanted, 80), wanted, noun->command);
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "no %s \"%.*s\"; did you mean \"%.*s\"? `upthrust %s list` shows all", noun->one,
                   cut_at_character(wanted, 80), wanted, cut_at_character(search->nearest, 80),
                   search->nearest, noun->command);
}

/* By name, or by the beginning of an id. */
static char *so_called(const char *kind) {
    return up_text_format("SELECT record FROM typed_%s WHERE name = ?2 COLLATE NOCASE UNION"
                          " SELECT record FROM typed_%s WHERE subject >= lower(?2)"
                          " AND subject < lower(?2) || '~'",
                          kind, kind);
}

/* Where none fits: what might have been meant, of some hundreds about the place where the name
   would stand. */
static char *alike(const char *kind) {
    return up_text_format(
        "SELECT record FROM (SELECT record FROM typed_%s WHERE name >= ?2 COLLATE NOCASE"
        " ORDER BY name COLLATE NOCASE LIMIT 300) UNION SELECT record FROM (SELECT record FROM"
        " typed_%s WHERE name < ?2 COLLATE NOCASE ORDER BY name COLLATE NOCASE DESC LIMIT 300)",
        kind, kind);
}

bool catalogue_find(struct up_catalogue *catalogue, const struct catalogue_noun *noun,
                    const char *name_or_id, struct catalogue_found *found,
                    struct up_failure *failure) {
    /* Names are stored clean. */
    UP_FREED char *wanted = up_text_clean(name_or_id, strlen(name_or_id));
    struct search search = {.noun = noun, .wanted = wanted, .nearest_steps = SIZE_MAX};
    UP_FREED char *called = so_called(noun->kind), *like = alike(noun->kind);
    bool good =
        catalogue_each_in(catalogue, noun->kind, called, wanted, consider, &search, failure) &&
        (search.count > 0 ||
         catalogue_each_in(catalogue, noun->kind, like, wanted, consider, &search, failure));
    *found = (struct catalogue_found){0};
    if (good && search.count == 1) {
        memcpy(found->id, search.shown[0].id, sizeof found->id);
        found->content = json_incref(search.content);
        found->elsewhere = search.elsewhere;
    } else if (good) {
        good = search.count > 1 ? fail_ambiguous(&search, failure) : fail_unknown(&search, failure);
    }
    json_decref(search.content);
    return good;
}

bool catalogue_fail_found(const struct catalogue_found *found, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "what is stored of %s cannot be read: restore a copy of the catalogue",
                   found->id);
}
