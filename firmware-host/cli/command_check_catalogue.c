/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What keeps a catalogue whole and private: whether every record is what was stored, and which are
   left out; backup, salvage, redaction, and the texts that stay here. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "keep/keep.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_check_catalogue[] = {
    {"set-aside", "RECORD_ID", "leave a record out of every list; it stays in the catalogue"},
    {"reason", "TEXT", "with --set-aside: why"},
    {"take-back", "RECORD_ID",
     "a record that was set aside counts again; ID/HASH where several have that id"},
    {"salvage", "DIR",
     "write what is sound of a damaged catalogue into a new one, and say what is lost"},
    {"rebuild", NULL, "make the tables for quick answers again from the records"},
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};
const struct option_text options_redact[] = {
    {"facts", NULL, "take the columns away: the record counts in no list any more"},
    {"detail", NULL, "take all else away: budget, plateaus (neither given: both)"},
    {"reason", "TEXT", "why; it stays in this catalogue"},
    OPTION_CATALOGUE,
    OPTION_END};
const struct option_text options_backup[] = {OPTION_CATALOGUE, OPTION_JSON, OPTION_END};
const struct option_text options_private[] = {OPTION_CATALOGUE, OPTION_JSON, OPTION_END};

static const char *const words[] = {[UP_RECORD_DAMAGED] = "damaged",
                                    [UP_RECORD_SET_ASIDE] = "set aside",
                                    [UP_RECORD_AHEAD_OF_CLOCK] = "dated ahead of the clock",
                                    [UP_RECORD_CONTESTED] = "other content under this id",
                                    [UP_RECORD_OF_MANY] = "too many versions",
                                    [UP_RECORD_FORKED] = "signed twice",
                                    [UP_RECORD_AFTER_GAP] = "the one signed before is missing",
                                    [UP_RECORD_REVOKED] = "left out, its key was revoked",
                                    [UP_RECORD_RECALLED] = "left out",
                                    [UP_RECORD_WAITING] = "waits",
                                    [UP_RECORD_REDACTED] = "facts taken away",
                                    [UP_RECORD_UNDETAILED] = "detail taken away",
                                    [UP_RECORD_UNSIGNED] = "not signed",
                                    [UP_TABLES_UNLIKE] = "tables do not fit the records"};

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
    } else if (doubtful->why == UP_TABLES_UNLIKE) {
        up_text_print(stdout,
                      "%s of the tables for quick answers: not what the records say. Lists may "
                      "be wrong; no record is. `upthrust check-catalogue --rebuild` makes these "
                      "tables again\n",
                      doubtful->reason);
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
        printf("%u signed under a number that their writer had used: a copy of its folder is "
               "written with its key, or its home and its folder were put back from a backup. All "
               "are kept\n",
               count[UP_RECORD_FORKED]);
    }
    if (count[UP_RECORD_AFTER_GAP] > 0) {
        printf("%u after a gap: what the same writer signed before did not come along\n",
               count[UP_RECORD_AFTER_GAP]);
    }
    if (count[UP_RECORD_UNSIGNED] > 0) {
        printf("%u made here without a signature since the first writer signed what was held "
               "here: an older program wrote them, after the number of the file's version was set "
               "back\n",
               count[UP_RECORD_UNSIGNED]);
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

static bool rebuild(struct call *call) {
    if (!open_catalogue(call, UP_CATALOGUE_WRITE) ||
        !up_catalogue_mend(call->catalogue, call->failure)) {
        return false;
    }
    puts("the tables for quick answers were made again from the records");
    return true;
}

/* ---- salvage ---- */

enum { LOST_SHOWN = 20 };

struct loss {
    unsigned long count;
    json_t *list; /* NULL: in words */
};

static void show_lost(const char *id, const char *kind, const char *made_utc, const char *why,
                      void *context) {
    struct loss *loss = context;
    if (loss->count++ >= LOST_SHOWN) {
        return;
    }
    if (loss->list != NULL) {
        json_array_append_new(loss->list,
                              json_pack("{s:o, s:o, s:o, s:s}", "record_id", up_json_text(id),
                                        "kind", up_json_text(kind), "made_utc",
                                        up_json_text(made_utc), "reason", why));
    } else {
        up_text_print(stdout, "lost: %.36s  %.16s of %.24s: %s\n", id, kind, made_utc, why);
    }
}

static void print_salvage(const char *to, const struct up_salvage *found) {
    unsigned long lost = found->damaged + found->missing;
    if (lost > LOST_SHOWN) {
        printf("lost: %lu more\n", lost - LOST_SHOWN);
    }
    if (found->undetailed > 0) {
        printf("%lu record%s without their detail (budget, plateaus)\n", found->undetailed,
               up_text_plural(found->undetailed));
    }
    if (found->unreadable) {
        puts("a part of the file cannot be read: how much was there is not known");
    }
    up_text_print(stdout, "%s: %lu sound record%s, %lu file%s of runs; %lu record%s lost\n", to,
                  found->records, up_text_plural(found->records), found->files,
                  up_text_plural(found->files), lost, up_text_plural(lost));
    puts("Before a bench uses it: `upthrust calibration adopt`. `upthrust check-catalogue` shows "
         "the gaps in it.");
}

static bool salvage(struct call *call) {
    const char *to = option_value(call, "salvage");
    bool json = option_given(call, "json");
    struct loss loss = {.list = json ? json_array() : NULL};
    struct up_salvage found;
    bool good = up_salvage(catalogue_directory(call), to, &found, show_lost, &loss, call->failure);
    if (good && json) {
        print_json(json_pack(
            "{s:s, s:I, s:I, s:I, s:I, s:I, s:b, s:O}", "schema", "upthrust-salvage-1", "records",
            (json_int_t)found.records, "damaged", (json_int_t)found.damaged, "missing",
            (json_int_t)found.missing, "without_detail", (json_int_t)found.undetailed, "files",
            (json_int_t)found.files, "unreadable", (int)found.unreadable, "lost", loss.list));
    } else if (good) {
        print_salvage(to, &found);
    }
    json_decref(loss.list);
    return good;
}

bool command_check_catalogue(struct call *call) {
    bool changes = option_given(call, "set-aside") || option_given(call, "take-back") ||
                   option_given(call, "reason");
    if (call->words > 0) {
        return refuse(call, "check-catalogue takes only options");
    }
    if (option_given(call, "salvage")) {
        return changes ? refuse(call, "check-catalogue: --salvage stands alone, with --catalogue")
                       : salvage(call);
    }
    if (option_given(call, "rebuild")) {
        return changes ? refuse(call, "check-catalogue: --rebuild stands alone, with --catalogue")
                       : rebuild(call);
    }
    return open_catalogue(call, changes ? UP_CATALOGUE_WRITE : UP_CATALOGUE_READ) &&
           (changes ? change(call) : check(call));
}

/* ---- redact ---- */

/* What was exported here before is written anew without it. */
static bool renew_exchange(struct call *call) {
    UP_FREED char *folder = up_text_format("%s/exchange", up_catalogue_directory(call->catalogue));
    UP_FREED char *csv = up_text_format("%s/items.csv", folder);
    UP_FREED char *document = up_text_format("%s/catalogue.json", folder);
    return (access(csv, F_OK) != 0 || up_export_csv(call->catalogue, folder, call->failure)) &&
           (access(document, F_OK) != 0 || up_export_json(call->catalogue, folder, call->failure));
}

bool command_redact(struct call *call) {
    struct up_redaction redaction = {option_given(call, "facts"), option_given(call, "detail"),
                                     option_value(call, "reason")};
    struct up_redacted redacted;
    if (call->words != 1 || redaction.reason == NULL || redaction.reason[0] == '\0') {
        return refuse(call, "redact: name one record by its whole id, and give --reason TEXT");
    }
    if (!redaction.facts && !redaction.detail) {
        redaction.facts = redaction.detail = true;
    }
    if (!open_catalogue(call, UP_CATALOGUE_WRITE) ||
        !up_redact(call->catalogue, call->word[0], &redaction, &redacted, call->failure) ||
        !renew_exchange(call)) {
        return false;
    }
    up_text_print(stdout, "%s: %s%s%s %staken away; its envelope stays, signed\n", call->word[0],
                  redaction.facts ? "facts" : "",
                  redaction.facts && redaction.detail ? " and " : "",
                  redaction.detail ? "detail" : "", redacted.again ? "were already " : "");
    if (redacted.versions > 0) {
        printf("%lu other version%s of the same thing stay%s as they are: `record` in "
               "catalogue.sqlite lists them\n",
               redacted.versions, up_text_plural(redacted.versions),
               redacted.versions == 1 ? "s" : "");
    }
    puts("Still there: copies that others have, backups, pages, pictures and labels drawn before, "
         "and the\nfiles of runs in runs/. The files in exchange/ are written again.");
    return true;
}

/* ---- backup ---- */

bool command_backup(struct call *call) {
    struct up_backup backup;
    if (call->words != 1) {
        return refuse(call, "backup: name one folder that is not there yet");
    }
    if (!open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    up_catalogue_watch(call->catalogue, progress_show);
    if (!up_backup(call->catalogue, call->word[0], &backup, call->failure)) {
        return false;
    }
    if (option_given(call, "json")) {
        print_json(json_pack("{s:s, s:I, s:I, s:I, s:I}", "schema", "upthrust-backup-1", "records",
                             (json_int_t)backup.records, "damaged", (json_int_t)backup.damaged,
                             "files", (json_int_t)backup.files, "skipped",
                             (json_int_t)backup.skipped));
        return true;
    }
    up_text_print(stdout, "%s: %lu record%s, %lu file%s of runs, read again and compared\n",
                  call->word[0], backup.records, up_text_plural(backup.records), backup.files,
                  up_text_plural(backup.files));
    if (backup.damaged > 0) {
        printf("%lu record%s damaged here, and so in the copy: see `upthrust check-catalogue`\n",
               backup.damaged, backup.damaged == 1 ? " is" : "s are");
    }
    if (backup.skipped > 0) {
        printf("%lu in runs/ left out: neither a file nor a folder\n", backup.skipped);
    }
    puts("It holds what is private, too. To restore it: move the old folder away, copy this one to "
         "its\nplace, then `upthrust calibration adopt`.");
    return true;
}

/* ---- private ---- */

static json_t *private_json(const struct up_private *text) {
    return json_pack("{s:o, s:o, s:o, s:s, s:b, s:s*, s:s}", "id", up_json_text(text->thing),
                     "member", up_json_text(text->member), "salt", up_json_text(text->salt),
                     "commitment", text->commitment, "fits", (int)text->fits, "text", text->text,
                     "sha256_over", "salt and text");
}

struct private_list {
    json_t *list;  /* NULL: in words */
    bool is_whole; /* with the texts */
    unsigned long count;
};

static bool show_private(const struct up_private *text, void *context) {
    struct private_list *list = context;
    list->count++;
    if (list->list != NULL) {
        json_array_append_new(list->list, private_json(text));
    } else if (list->is_whole) {
        UP_FREED char *clean = up_text_clean_lines(text->text);
        printf("%s  %s\n  commitment %s%s\n  salt       %s\n", text->thing, text->member,
               text->commitment, text->fits ? "" : ": NOT that of the record", text->salt);
        puts(clean);
    } else {
        up_text_print(stdout, "%s  %s of %s, %zu bytes\n", text->thing, text->member,
                      text->made_utc, strlen(text->text));
    }
    return true;
}

bool command_private(struct call *call) {
    bool json = option_given(call, "json");
    const char *thing = call->words == 1 ? call->word[0] : "";
    struct private_list list = {.list = json ? json_array() : NULL, .is_whole = call->words == 1};
    if (call->words > 1) {
        return refuse(call, "private: name one record or item by its id, or nothing");
    }
    bool good = open_catalogue(call, UP_CATALOGUE_READ) &&
                up_private_each(call->catalogue, thing, show_private, &list, call->failure);
    if (good && json) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-private-1", "private", list.list));
    } else if (good && list.count == 0 && call->words == 1) {
        good = refuse(call, "nothing private is kept of %.40s", thing);
    }
    json_decref(list.list);
    return good;
}
