/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose records count: keys of benches, trust in them, and what is signed about them. */
#include <string.h>

#include "cli.h"
#include "text/json.h"
#include "text/text.h"
#include "trust/trust.h"

const struct option_text options_bench[] = {
    {"as", "bench|editor|federation",
     "trust: its records are known; its changes to others' things count; or its vouchings"},
    {"name", "TEXT", "trust, vouch: whose key it is"},
    {"last", "N", "revoke: number of its last good record; 0: none is good"},
    {"hash", "HEX", "revoke: beginning of that record's hash, where two have the number"},
    {"from", "N", "recall: number of the first record"},
    {"to", "N", "recall: number of the last record"},
    {"reason", "TEXT", "why; revoke and recall need it"},
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

enum { NUMBER_MOST = 2000000000 };

static bool find(struct call *call, char writer[UP_KEY_SIZE]) {
    return call->words == 2
               ? up_trust_find(call->catalogue, call->word[1], writer, call->failure)
               : refuse(call,
                        "bench %s: give one key, or its beginning: `upthrust bench list` "
                        "shows them",
                        call->word[0]);
}

static bool needs(struct call *call, const char *option, const char **value) {
    *value = option_value(call, option);
    return *value != NULL || refuse(call, "bench %s: give --%s", call->word[0], option);
}

static bool needs_number(struct call *call, const char *option, int least, int *value) {
    const char *text;
    return needs(call, option, &text) && option_whole(call, option, least, NUMBER_MOST, value);
}

/* ---- what is given here ---- */

static const char *reason_of(const struct call *call) {
    const char *reason = option_value(call, "reason");
    return reason != NULL ? reason : "";
}

static bool trust(struct call *call) {
    const char *role, *name;
    char writer[UP_KEY_SIZE];
    if (!find(call, writer) || !needs(call, "as", &role) || !needs(call, "name", &name)) {
        return false;
    }
    if (strcmp(role, "none") == 0) {
        return refuse(call, "bench trust --as none: `upthrust bench distrust %.8s` does that",
                      writer);
    }
    bool good = up_trust_give(call->catalogue, writer, role, name, reason_of(call), call->failure);
    if (good) {
        up_text_print(stdout, "%.8s is trusted in this catalogue as %s: %s\n", writer, role, name);
    }
    return good;
}

static bool distrust(struct call *call) {
    char writer[UP_KEY_SIZE];
    bool good = find(call, writer) &&
                up_trust_give(call->catalogue, writer, "none", "", reason_of(call), call->failure);
    if (good) {
        printf("%.8s is not trusted in this catalogue, whoever vouches for it\n", writer);
    }
    return good;
}

/* ---- what is signed, and travels ---- */

static bool vouch(struct call *call) {
    const char *name;
    char writer[UP_KEY_SIZE];
    bool good = find(call, writer) && needs(call, "name", &name) &&
                up_trust_vouch(call->catalogue, writer, name, call->failure);
    if (good) {
        up_text_print(stdout,
                      "signed: %.8s is the key of %s. It counts where this folder's key "
                      "is trusted as a federation.\n",
                      writer, name);
    }
    return good;
}

static bool new_key(struct call *call) {
    char writer[UP_KEY_SIZE];
    if (call->words != 1) {
        return refuse(call, "bench new-key takes only options");
    }
    bool good = up_trust_new_key(call->catalogue, writer, call->failure);
    if (good) {
        printf("signed by the old key: from now on this folder signs with\n%s\n", writer);
    }
    return good;
}

static void tell_effect(bool counts, const char *who) {
    puts(counts ? "signed: it counts here" : "signed, but without effect here:");
    if (!counts) {
        up_text_paragraph(stdout, "  ", who);
    }
}

static bool revoke(struct call *call) {
    const char *reason, *hash = option_value(call, "hash");
    char writer[UP_KEY_SIZE];
    int last = 0;
    bool counts = false;
    bool good = find(call, writer) && needs_number(call, "last", 0, &last) &&
                needs(call, "reason", &reason) &&
                up_trust_revoke(call->catalogue, writer, last, hash != NULL ? hash : "", reason,
                                &counts, call->failure);
    if (good) {
        tell_effect(counts, "a key is revoked by itself, by the key that took its place, or by a "
                            "trusted federation that vouched for it");
    }
    return good;
}

static bool recall(struct call *call) {
    const char *reason;
    char writer[UP_KEY_SIZE] = "";
    int first = 0, last = 0;
    bool counts = false;
    bool good =
        (call->words == 1 || find(call, writer)) && needs_number(call, "from", 1, &first) &&
        needs_number(call, "to", first, &last) && needs(call, "reason", &reason) &&
        up_trust_recall(call->catalogue, writer, first, last, reason, &counts, call->failure);
    if (good) {
        tell_effect(counts, "records are recalled by the key that signed them, by the one that "
                            "took its place, or by a trusted editor");
    }
    return good;
}

/* ---- who was met ---- */

static json_t *to_json(const struct up_trust_row *row) {
    return json_pack(
        "{s:s, s:o, s:s, s:s, s:s, s:b, s:I, s:I, s:s, s:I, s:I, s:o, s:o, s:I, s:I, s:I, s:o}",
        "writer", row->writer, "name", up_json_text(row->name), "role", row->role, "how", row->how,
        "through", row->through, "own", row->own, "records", (json_int_t)row->records,
        "last_sequence", (json_int_t)row->last_sequence, "last_utc", row->last_utc, "missing",
        (json_int_t)row->missing, "signed_twice", (json_int_t)row->forked, "revoked_after",
        row->revoked_after >= 0 ? json_integer(row->revoked_after) : json_null(), "revoked_reason",
        up_json_text(row->revoked_why), "recalled", (json_int_t)row->recalled, "left_out",
        (json_int_t)row->left_out, "without_effect", (json_int_t)row->ignored, "reason",
        up_json_text(row->reason));
}

static void remark(long long count, const char *one, const char *several) {
    if (count > 0) {
        printf("          %lld %s\n", count, count == 1 ? one : several);
    }
}

static void print_remarks(const struct up_trust_row *row) {
    if (row->own) { /* to be read out to who is to trust it */
        up_text_print(stdout, "          %s\n", row->writer);
    }
    if (row->reason[0] != '\0') {
        up_text_paragraph(stdout, "          ", row->reason);
    }
    if (row->through[0] != '\0') {
        up_text_print(stdout, "          %s %.8s\n",
                      strcmp(row->how, "vouching") == 0 ? "vouched for by" : "took the place of",
                      row->through);
    }
    if (row->revoked_after >= 0) {
        UP_FREED char *words =
            up_text_format("revoked after number %lld: %s", row->revoked_after, row->revoked_why);
        up_text_paragraph(stdout, "          ", words);
    }
    remark(row->missing, "number is missing: merge a catalogue that has it",
           "numbers are missing: merge a catalogue that has them");
    remark(row->forked, "number was used twice: a copy of its folder signs with its key",
           "numbers were used twice: a copy of its folder signs with its key");
    remark(row->recalled, "record was recalled", "records were recalled");
    remark(row->left_out, "record is left out", "records are left out");
    remark(row->ignored, "revocation or recall of it has no effect here",
           "revocations or recalls of it have no effect here");
}

static bool show(const struct up_trust_row *row, void *context) {
    json_t *list = context;
    if (list != NULL) {
        json_array_append_new(list, to_json(row));
        return true;
    }
    const char *role = row->role[0] == '\0'             ? row->own ? "own" : ""
                       : strcmp(row->role, "none") == 0 ? "not trusted"
                                                        : row->role;
    up_text_print(stdout, "%.8s  ", row->writer);
    up_text_put(stdout, row->name, 24, true);
    printf("  %-11s %8lld %8lld  ", role, row->records, row->last_sequence);
    up_text_print(stdout, "%.10s\n", row->last_utc);
    print_remarks(row);
    return true;
}

static bool list(struct call *call) {
    json_t *benches = option_given(call, "json") ? json_array() : NULL;
    if (benches == NULL) {
        puts("key       name                      role         records     last  on");
    }
    bool good = up_trust_each(call->catalogue, show, benches, call->failure);
    if (good && benches != NULL) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-benches-1", "benches", benches));
    }
    json_decref(benches);
    return good;
}

bool command_bench(struct call *call) {
    static const struct verb verbs[] = {
        {"list", UP_CATALOGUE_READ, list},          {"trust", UP_CATALOGUE_WRITE, trust},
        {"distrust", UP_CATALOGUE_WRITE, distrust}, {"vouch", UP_CATALOGUE_WRITE, vouch},
        {"new-key", UP_CATALOGUE_WRITE, new_key},   {"revoke", UP_CATALOGUE_WRITE, revoke},
        {"recall", UP_CATALOGUE_WRITE, recall}};
    return run_verb("bench", verbs, sizeof verbs / sizeof verbs[0], call);
}
