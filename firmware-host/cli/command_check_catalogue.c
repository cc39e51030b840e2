/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether every record is what was stored, and which ones are left out. */
#include "cli.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_check_catalogue[] = {
    {"set-aside", "RECORD_ID", "leave a record out of every list; it stays in the catalogue"},
    {"reason", "TEXT", "with --set-aside: why"},
    {"take-back", "RECORD_ID",
     "a record that was set aside counts again; ID/HASH where several have that id"},
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

static const char *const words[] = {[UP_RECORD_DAMAGED] = "damaged",
                                    [UP_RECORD_SET_ASIDE] = "set aside",
                                    [UP_RECORD_AHEAD_OF_CLOCK] = "dated ahead of the clock",
                                    [UP_RECORD_CONTESTED] = "other content under this id",
                                    [UP_RECORD_OF_MANY] = "too many versions",
                                    [UP_RECORD_FORKED] = "signed twice",
                                    [UP_RECORD_AFTER_GAP] = "the one signed before is missing",
                                    [UP_RECORD_REVOKED] = "left out, its key was revoked",
                                    [UP_RECORD_RECALLED] = "left out",
                                    [UP_RECORD_WAITING] = "waits"};

struct findings {
    unsigned count[UP_RECORD_WAITING + 1];
    json_t *list; /* NULL: in words */
};

static bool show(const struct up_doubtful_record *doubtful, void *context) {
    struct findings *findings = context;
    findings->count[doubtful->why]++;
    if (findings->list != NULL) {
        json_array_append_new(
            findings->list,
            json_pack("{s:o, s:o, s:o, s:s, s:o}", "record_id", up_json_text(doubtful->id), "kind",
                      up_json_text(doubtful->kind), "made_utc", up_json_text(doubtful->made_utc),
                      "finding", words[doubtful->why], "reason", up_json_text(doubtful->reason)));
    } else {
        up_text_print(stdout, "%s  %s of %s: %s%s%s\n", doubtful->id, doubtful->kind,
                      doubtful->made_utc, words[doubtful->why],
                      doubtful->reason[0] != '\0' ? ", " : "", doubtful->reason);
    }
    return true;
}

static void print_sum(const struct findings *findings) {
    const unsigned *count = findings->count;
    if (count[UP_RECORD_DAMAGED] == 0) {
        puts("every record is what was stored");
    } else {
        printf("%u damaged: restore a copy of the catalogue, or leave them out with --set-aside\n",
               count[UP_RECORD_DAMAGED]);
    }
    if (count[UP_RECORD_AHEAD_OF_CLOCK] > 0) {
        printf("%u dated ahead of the clock: those from elsewhere count after all others; is the "
               "clock "
               "right?\n",
               count[UP_RECORD_AHEAD_OF_CLOCK]);
    }
    if (count[UP_RECORD_CONTESTED] > 0) {
        printf("%u with other content under the id of a record: one of the two is forged. Yours, "
               "or what you measured, counts; of two others neither does until --take-back "
               "ID/HASH\n",
               count[UP_RECORD_CONTESTED]);
    }
    if (count[UP_RECORD_OF_MANY] > 0) {
        printf("%u thing%s with more versions than a person makes: your own counts, else the "
               "newest; where did the others come from?\n",
               count[UP_RECORD_OF_MANY], up_text_plural(count[UP_RECORD_OF_MANY]));
    }
    if (count[UP_RECORD_FORKED] > 0) {
        printf("%u signed under a number that their writer had used: a copy of "
               "its folder is written with its key. All are kept\n",
               count[UP_RECORD_FORKED]);
    }
    if (count[UP_RECORD_AFTER_GAP] > 0) {
        printf("%u after a gap: what the same writer signed before did not come along\n",
               count[UP_RECORD_AFTER_GAP]);
    }
    if (count[UP_RECORD_REVOKED] + count[UP_RECORD_RECALLED] > 0) {
        printf("%u left out of every list and figure, since a key was revoked or records were "
               "recalled; `upthrust bench list` shows whose\n",
               count[UP_RECORD_REVOKED] + count[UP_RECORD_RECALLED]);
    }
    if (count[UP_RECORD_WAITING] > 0) {
        printf("%u by a writer who may not change the thing: `upthrust item accept NAME` takes an "
               "item's, `upthrust bench trust KEY --as editor` all of a writer's\n",
               count[UP_RECORD_WAITING]);
    }
}

static bool check(struct call *call) {
    bool json = option_given(call, "json");
    struct findings findings = {.list = json ? json_array() : NULL};
    bool good = up_catalogue_check(call->catalogue, show, &findings, call->failure);
    if (good && json) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-catalogue-check-1", "findings",
                             findings.list));
    } else if (good) {
        print_sum(&findings);
    }
    json_decref(findings.list);
    return good &&
           (findings.count[UP_RECORD_DAMAGED] == 0 ||
            refuse(call, "the catalogue %s has damaged records: %u",
                   up_catalogue_directory(call->catalogue), findings.count[UP_RECORD_DAMAGED]));
}

static bool change(struct call *call) {
    const char *aside = option_value(call, "set-aside");
    const char *reason = option_value(call, "reason");
    const char *back = option_value(call, "take-back");
    if ((aside != NULL && back != NULL) || (aside != NULL) != (reason != NULL)) {
        return refuse(call,
                      "check-catalogue: give --set-aside ID with --reason TEXT, or --take-back ID");
    }
    bool good = aside != NULL
                    ? up_catalogue_set_aside(call->catalogue, aside, reason, call->failure)
                    : up_catalogue_restore(call->catalogue, back, call->failure);
    if (good) {
        up_text_print(stdout, "%s: %s\n", aside != NULL ? aside : back,
                      aside != NULL ? "set aside; --take-back makes it count again"
                                    : "counts again");
    }
    return good;
}

bool command_check_catalogue(struct call *call) {
    bool changes = option_given(call, "set-aside") || option_given(call, "take-back") ||
                   option_given(call, "reason");
    if (call->words > 0) {
        return refuse(call, "check-catalogue takes only options");
    }
    return open_catalogue(call, changes ? UP_CATALOGUE_WRITE : UP_CATALOGUE_READ) &&
           (changes ? change(call) : check(call));
}
