/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "internal.h"
#include "metrology/statistics.h"
#include "text/text.h"

#define MEMBERS_OF struct up_calibration_point
static const struct catalogue_member point_members[] = {
    NUMBER("mass_kg", mass_kg, UNIT_KG, NEEDED,
           "conventional mass (OIML R 111); negative: taken off"),
    NUMBER("load_counts", load_counts, UNIT_COUNTS, NEEDED,
           "difference to the tares around it; read late: as it would have been on time"),
    NUMBER("u_plateau_counts", u_plateau_counts, UNIT_COUNTS, NEEDED | NOT_NEGATIVE,
           "its standard uncertainty, from the noise of the plateaus"),
    NUMBER("residual_g", residual_g, UNIT_G, NEEDED, "what the line reads there, less the mass"),
    NUMBER("late_s", late_s, UNIT_S, LATER, "read this much later than scheduled"),
    END};
#undef MEMBERS_OF

#define MEMBERS_OF struct up_stair
static const struct catalogue_member stair_members[] = {
    NUMBER("mass_kg", mass_kg, UNIT_KG, NEEDED, "all that hangs"),
    TRUTH("falling", falling, 0, "masses are taken off again"),
    NUMBER("load_counts", load_counts, UNIT_COUNTS, NEEDED,
           "less the empty hanger's; drift of the zero taken off"),
    NUMBER("u_plateau_counts", u_plateau_counts, UNIT_COUNTS, NEEDED | NOT_NEGATIVE,
           "its standard uncertainty, from the noise of the plateau"),
    NUMBER("residual_g", residual_g, UNIT_G, NEEDED,
           "of the straight line through the empty hanger and the top"),
    NUMBER("hysteresis_g", hysteresis_g, UNIT_G, LATER,
           "falling: this reading less the rising one of the same mass"),
    END};
#undef MEMBERS_OF

static const struct catalogue_nested points = {.members = point_members,
                                               .most = UP_CALIBRATION_POINTS_MAX,
                                               .stride = sizeof(struct up_calibration_point),
                                               .count_at = offsetof(struct up_calibration, points)};
static const struct catalogue_nested stairs = {.members = stair_members,
                                               .most = UP_STAIRS_MAX,
                                               .stride = sizeof(struct up_stair),
                                               .count_at = offsetof(struct up_calibration, stairs)};

/* Released keys stay as they are, whatever the member is called. */
#define MEMBERS_OF struct up_calibration
const struct catalogue_member catalogue_calibration_members[] = {
    TEXT("bench", bench, OF_RECORD, "id of the rig"),
    NUMBER("slope_counts_kg", slope_counts_per_kg, UNIT_COUNTS_PER_KG, NEEDED,
           "counts per kilogram"),
    NUMBER("u_slope_counts_kg", u_slope_counts_per_kg, UNIT_COUNTS_PER_KG, NEEDED | NOT_NEGATIVE,
           "its standard uncertainty from the fit, without that of the masses"),
    DOF("dof", dof, "degrees of freedom of the slope"),
    NUMBER("mass_tolerance_rel", mass_tolerance_rel, UNIT_SHARE, NEEDED | NOT_NEGATIVE,
           "half-width of the masses' error as a share, the same for all of one set"),
    NUMBER("lack_of_fit_kg", lack_of_fit_kg, UNIT_KG, NEEDED | NOT_NEGATIVE,
           "scatter of the points about the line that noise does not explain"),
    NUMBER("offset_counts", offset_counts, UNIT_COUNTS, NEEDED,
           "of the line with an offset, fitted as a check: should hold zero"),
    NUMBER("u_offset_counts", u_offset_counts, UNIT_COUNTS, NEEDED | NOT_NEGATIVE,
           "its standard uncertainty"),
    NUMBER("creep_rel_decade", creep_rel_decade, UNIT_SHARE, NEEDED,
           "change of the reading per tenfold time after the step, as a share of the load"),
    NUMBER("noise_counts", noise_counts, UNIT_COUNTS, NEEDED | NOT_NEGATIVE,
           "noise floor of one reading"),
    NUMBER("air_density_kg_m3", air_density_kg_m3, UNIT_KG_M3, NEEDED, "while calibrating"),
    NUMBER("read_after_s", read_after_s, UNIT_S, NEEDED, "from the step of the load to the window"),
    NUMBER("window_s", window_s, UNIT_S, NEEDED, "length of the reading window"),
    NUMBER("span_kg", span_kg, UNIT_KG, NEEDED, "largest mass"),
    TEXT("rig_sha256", rig_sha256, 0, "of the rig's line and sensor sections"),
    BENCH_SEQUENCE,
    NUMBER("unloading_slope_counts_kg", unloading_slope_counts_per_kg, UNIT_COUNTS_PER_KG, LATER,
           "where masses taken off follow another slope"),
    NUMBER("u_unloading_slope_counts_kg", u_unloading_slope_counts_per_kg, UNIT_COUNTS_PER_KG,
           LATER | NOT_NEGATIVE, "its standard uncertainty"),
    NUMBER("quadratic_counts_kg2", quadratic_counts_per_kg2, UNIT_COUNTS_PER_KG2, LATER,
           "bend of the line, counts per kilogram squared; 0: straight"),
    NUMBER("hysteresis_kg", hysteresis_kg, UNIT_KG, LATER,
           "largest difference between falling and rising readings of the staircase"),
    TEXT_AS(IN_TEXT_OR_NULL, "mass_class", mass_class, LATER, "OIML R 111, such as M1"),
    NUMBER("temp_c", temp_c, UNIT_C, LATER, "of the air, and so of the cell"),
    NUMBER("preloaded", preloaded, UNIT_ONE, LATER, "1: the cell was loaded before the first mass"),
    NUMBER("scatter_kg", scatter_kg, UNIT_KG, LATER | JSON_ONLY | NOT_NEGATIVE,
           "of one loading of any size: how its tares come back"),
    NUMBER("scatter_rel", scatter_rel, UNIT_SHARE, LATER | JSON_ONLY | NOT_NEGATIVE,
           "and in proportion to the load, pooled with earlier calibrations of the bench"),
    NUMBER("own_scatter_rel", own_scatter_rel, UNIT_SHARE, LATER | JSON_ONLY | NOT_NEGATIVE,
           "the same by the replicates of this calibration alone"),
    NUMBER("own_scatter_dof", own_scatter_dof, UNIT_DOF, LATER | JSON_ONLY | NOT_NEGATIVE,
           "its degrees of freedom"),
    NUMBER("offset_taken", offset_taken, UNIT_ONE, LATER | JSON_ONLY,
           "1: the line has the offset, which is taken off each load"),
    NUMBER("u_creep_rel_decade", u_creep_rel_decade, UNIT_SHARE, LATER | JSON_ONLY | NOT_NEGATIVE,
           "standard uncertainty of creep_rel_decade"),
    NUMBER("creep_at_reading", creep_at_reading, UNIT_SHARE, LATER | JSON_ONLY,
           "as creep_rel_decade, by the slope of the readings alone"),
    NUMBER("creep_is_told", creep_is_known, UNIT_ONE, LATER | JSON_ONLY,
           "1: the creep is beyond chance (99 %) and is used"),
    NUMBER("division_counts", division_counts, UNIT_COUNTS, LATER | JSON_ONLY | NOT_NEGATIVE,
           "smallest step of a reading"),
    NUMBER("quadratic_f", quadratic_f, UNIT_ONE, LATER | JSON_ONLY, "F value of the bend"),
    NUMBER("quadratic_f_limit", quadratic_f_limit, UNIT_ONE, LATER | JSON_ONLY,
           "its limit at 99 %"),
    LIST("points", point, points, LATER, "the loadings"),
    LIST("staircase", stair, stairs, LATER, "all masses up and down without emptying"),
    END};
#undef MEMBERS_OF

json_t *up_calibration_to_json(const struct up_calibration *calibration) {
    json_t *json = members_to_json(catalogue_calibration_members, calibration);
    if (calibration->id[0] != '\0') {
        json_object_set_new(json, "calibration_id", json_string(calibration->id));
    }
    return json;
}

bool up_calibration_from_json(const json_t *content, struct up_calibration *calibration) {
    memset(calibration, 0, sizeof *calibration);
    bool good = members_from_json(catalogue_calibration_members, content, calibration);
    if (isnan(calibration->quadratic_counts_per_kg2)) { /* from before the line could bend */
        calibration->quadratic_counts_per_kg2 = 0;
    }
    return good;
}

/* ---- the latest of a bench ---- */

struct latest {
    struct up_catalogue *catalogue;
    struct up_failure *failure;
    const char *bench;
    bool trusted_only, failed, passed_over;
    bool guests_only;      /* those that nobody here made or adopted */
    const char *since_utc; /* of those: made later than this; NULL: at any time */
    struct up_calibration *calibration;
    double place;
    bool found, bad;
};

/* Behind all that were made or adopted here stands what others say, whatever number it has: by
   time, and one dated ahead of the clock last. */
static const double OF_A_GUEST = -1, OF_TOMORROW = -2;

/* By the bench's own count. One of elsewhere stands where that stood when it was adopted; from
   before this was noted, where it says itself. */
static double place_of(struct latest *latest, const struct up_record *record) {
    char utc[UP_TIME_SIZE];
    double sequence = 0;
    long long adopted = 0;
    catalogue_read_number(record->content, "bench_sequence", &sequence);
    if (record->elsewhere &&
        !catalogue_ask(latest->catalogue,
                       "SELECT coalesce(max(CAST(reason AS INTEGER)), -1) FROM local_mark"
                       " WHERE record_id = ? AND mark = 'adopted'",
                       record->id, &adopted, latest->failure)) {
        latest->failed = true;
    }
    if (adopted < 0) {
        catalogue_latest(utc);
        return strcmp(record->made_utc, utc) > 0 ? OF_TOMORROW : OF_A_GUEST;
    }
    return adopted > 0 ? (double)adopted + 0.5 : sequence;
}

static bool is_looked_for(const struct latest *latest, const struct up_record *record,
                          double place) {
    return latest->guests_only
               ? place == OF_A_GUEST &&
                     (latest->since_utc == NULL || strcmp(record->made_utc, latest->since_utc) > 0)
               : !latest->found || place >= latest->place;
}

/* Visited by time; the place goes before it. */
static bool choose_latest(const struct up_record *record, void *context) {
    struct latest *latest = context;
    if (strcmp(record->bench, latest->bench) != 0) {
        return true;
    }
    double place = place_of(latest, record);
    if (!is_looked_for(latest, record, place)) {
        return true;
    }
    if (latest->trusted_only) {
        bool trusted = false;
        latest->failed =
            !up_calibration_is_trusted(latest->catalogue, record->id, &trusted, latest->failure);
        latest->passed_over = latest->passed_over || !trusted;
        if (!trusted) {
            return !latest->failed;
        }
    }
    latest->found = true;
    latest->place = place;
    latest->bad = !up_calibration_from_json(record->content, latest->calibration);
    memcpy(latest->calibration->id, record->id, sizeof record->id);
    memcpy(latest->calibration->made_utc, record->made_utc, sizeof record->made_utc);
    return true;
}

static bool fail_untrusted(struct up_catalogue *catalogue, const char *bench,
                           struct up_failure *failure) {
    UP_FREED char *obstacle = catalogue_witness_obstacle(catalogue, bench);
    bool agrees = true;
    if (obstacle != NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s is not the small file that notes by which calibration this bench was "
                       "last used: take it away, then check the bench with one known mass, "
                       "`upthrust calibration adopt --rig FILE --masses-g 2000`",
                       obstacle);
    }
    return catalogue_last_use_agrees(catalogue, bench, &agrees, failure) &&
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s. Check it with one known mass, `upthrust calibration adopt --rig FILE "
                   "--masses-g 2000`, or calibrate again (bench %.100s, catalogue %.100s)",
                   agrees ? "no calibration of this bench was made in this catalogue, as it lies "
                            "on this machine: the one that is there may be of another cell"
                          : "the calibration by which this bench was last used is no longer in the "
                            "catalogue: a backup may have been copied over it, and the one that is "
                            "there be of before a change",
                   bench, catalogue->directory) &&
           false;
}

/* A bench's latest: of all, and of those that are held here. More were made than anyone would ask
   about here. */
#define LATEST_OF(condition)                                                                       \
    "SELECT record FROM (SELECT t.record FROM typed_calibration AS t WHERE t.bench = ?2" condition \
    " ORDER BY t.made_utc DESC, t.subject DESC LIMIT 100)"
static const char latest_of_bench[] = LATEST_OF("") " UNION " LATEST_OF(
    " AND " CATALOGUE_IS_HELD("(SELECT id FROM record WHERE rowid = t.record)"));

static bool find_latest(struct up_catalogue *catalogue, const char *bench, bool trusted_only,
                        struct up_calibration *calibration, struct up_failure *failure) {
    struct latest latest = {.catalogue = catalogue,
                            .failure = failure,
                            .bench = bench,
                            .trusted_only = trusted_only,
                            .calibration = calibration};
    memset(calibration, 0, sizeof *calibration);
    if (!catalogue_each_in(catalogue, "calibration", latest_of_bench, bench, choose_latest, &latest,
                           failure) ||
        latest.failed) {
        return false;
    }
    if (!latest.found && latest.passed_over) {
        return fail_untrusted(catalogue, bench, failure);
    }
    if (!latest.found) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the bench %s has no calibration yet: run `upthrust calibrate` first",
                       bench);
    }
    return !latest.bad ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the stored calibration %s cannot be read: calibrate again", calibration->id);
}

bool up_calibration_latest(struct up_catalogue *catalogue, const char *bench,
                           struct up_calibration *calibration, struct up_failure *failure) {
    return find_latest(catalogue, bench, false, calibration, failure);
}

bool up_calibration_to_show(struct up_catalogue *catalogue, const char *bench,
                            struct up_calibration *calibration, bool *trusted,
                            struct up_failure *failure) {
    *trusted = find_latest(catalogue, bench, true, calibration, NULL);
    return *trusted || find_latest(catalogue, bench, false, calibration, failure);
}

bool up_calibration_to_use(struct up_catalogue *catalogue, const char *bench,
                           struct up_calibration *calibration, struct up_failure *failure) {
    return find_latest(catalogue, bench, true, calibration, failure) &&
           catalogue_last_use_note(catalogue, bench, calibration->id, failure);
}

/* ---- which one to adopt ---- */

static const char of_bench[] = "SELECT record FROM typed_calibration WHERE bench = ?2";

/* By the beginning of its id, one of here first. */
struct named {
    const char *bench;
    struct up_beginning beginning;
    struct up_calibration *calibration;
    bool bad;
};

static bool take_named(const struct up_record *record, void *context) {
    struct named *named = context;
    if (strcmp(record->bench, named->bench) == 0 &&
        up_beginning_takes(&named->beginning, record->id, record->elsewhere)) {
        named->bad = !up_calibration_from_json(record->content, named->calibration);
        memcpy(named->calibration->id, record->id, sizeof record->id);
        memcpy(named->calibration->made_utc, record->made_utc, sizeof record->made_utc);
    }
    return true;
}

static bool find_named(struct up_catalogue *catalogue, const char *bench, const char *wanted,
                       struct up_calibration *calibration, struct up_failure *failure) {
    struct named named = {bench, {.wanted = wanted}, calibration, false};
    return catalogue_each_in(catalogue, "calibration", of_bench, bench, take_named, &named,
                             failure) &&
           ((named.beginning.found == 1 && !named.bad) ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "%s calibration of the bench %.60s begins with \"%.40s\": `upthrust "
                    "calibration list` shows all",
                    named.beginning.found > 1 ? "more than one" : "no", bench, wanted));
}

/* The newest of here or adopted that is no longer trusted; else what a guest made since. */
bool up_calibration_to_adopt(struct up_catalogue *catalogue, const char *bench, const char *wanted,
                             struct up_calibration *calibration, struct up_failure *failure) {
    struct latest guests = {.catalogue = catalogue,
                            .failure = failure,
                            .bench = bench,
                            .guests_only = true,
                            .calibration = calibration};
    char since_utc[UP_TIME_SIZE];
    bool trusted = false;
    if (wanted[0] != '\0') {
        return find_named(catalogue, bench, wanted, calibration, failure);
    }
    if (!find_latest(catalogue, bench, false, calibration, failure) ||
        !up_calibration_is_trusted(catalogue, calibration->id, &trusted, failure)) {
        return false;
    }
    if (!trusted) {
        return true;
    }
    memcpy(since_utc, calibration->made_utc, sizeof since_utc);
    guests.since_utc = since_utc;
    return catalogue_each_in(catalogue, "calibration", latest_of_bench, bench, choose_latest,
                             &guests, failure) &&
           !guests.failed &&
           ((guests.found && !guests.bad) ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "the newest calibration of the bench %.60s was made on this machine: measure",
                    bench));
}

bool up_calibration_made_since(struct up_catalogue *catalogue, const char *bench,
                               const char *run_id, bool *made, struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        "SELECT count(*) FROM record AS c WHERE kind = 'calibration' AND bench = ?1 AND rowid >"
        " (SELECT min(rowid) FROM record WHERE kind = 'run' AND subject = ?2)"
        " AND " CATALOGUE_HAS_MARK("c.id", "'made'"),
        (const char *[]){bench, run_id}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *made = code == SQLITE_ROW && sqlite3_column_int(statement, 0) > 0;
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* ---- the history of a bench ---- */

/* Slopes that differ by more are of a cell that was changed; of fewer calibrations a scatter means
   little. Choices of ours. */
static const double SLOPES_APART_REL = 0.01;
enum { PAST_LEAST = 3, PAST_MOST = 64 };

struct past {
    struct up_catalogue *catalogue;
    struct up_failure *failure;
    const char *bench, *rig_sha256;
    double slope[PAST_MOST], sd[PAST_MOST], dof[PAST_MOST];
    size_t count; /* of all; the latest are kept */
    bool failed;
};

static bool add_past(const struct up_record *record, void *context) {
    struct past *past = context;
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool trusted = false;
    if (strcmp(record->bench, past->bench) != 0 ||
        !up_calibration_from_json(record->content, calibration) ||
        strcmp(calibration->rig_sha256, past->rig_sha256) != 0) {
        return true;
    }
    past->failed = !up_calibration_is_trusted(past->catalogue, record->id, &trusted, past->failure);
    if (trusted) {
        size_t at = past->count++ % PAST_MOST;
        bool known = calibration->own_scatter_dof > 0;
        past->slope[at] = calibration->slope_counts_per_kg;
        past->sd[at] = known ? calibration->own_scatter_rel : (double)NAN;
        past->dof[at] = known ? calibration->own_scatter_dof : 0;
    }
    return !past->failed;
}

bool up_calibration_past(struct up_catalogue *catalogue, const char *bench, const char *rig_sha256,
                         struct up_calibration_history *history, struct up_failure *failure) {
    struct past past = {
        .catalogue = catalogue, .failure = failure, .bench = bench, .rig_sha256 = rig_sha256};
    *history = (struct up_calibration_history){0};
    if (!catalogue_each_in(catalogue, "calibration", of_bench, bench, add_past, &past, failure) ||
        past.failed) {
        return false;
    }
    size_t kept = past.count < PAST_MOST ? past.count : PAST_MOST;
    double squares = 0;
    for (size_t i = 0; i < kept; i++) {
        squares += past.dof[i] > 0 ? past.dof[i] * past.sd[i] * past.sd[i] : 0;
        history->scatter_dof += past.dof[i];
    }
    history->scatter_rel = history->scatter_dof > 0 ? sqrt(squares / history->scatter_dof) : 0;
    struct up_summary slopes = up_summarise(past.slope, kept);
    double rel = slopes.sd / fabs(slopes.mean);
    if (kept >= PAST_LEAST && rel < SLOPES_APART_REL) {
        history->slope_rel = rel;
        history->slope_dof = (double)kept - 1;
    }
    return true;
}

/* ---- adding ---- */

/* Whatever could not be read back is not stored. */
static bool check(const struct up_calibration *calibration, const json_t *content,
                  struct up_failure *failure) {
    struct up_calibration copy;
    return (calibration->bench[0] != '\0' && !isnan(calibration->dof) &&
            calibration->points <= UP_CALIBRATION_POINTS_MAX &&
            calibration->stairs <= UP_STAIRS_MAX && up_calibration_from_json(content, &copy) &&
            copy.points == calibration->points && copy.stairs == calibration->stairs &&
            strcmp(copy.bench, calibration->bench) == 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "this calibration of the bench \"%.80s\" cannot be stored: it holds a number "
                   "that is not finite, or the bench's id is empty or not UTF-8",
                   calibration->bench);
}

bool up_calibration_add(struct up_catalogue *catalogue, struct up_calibration *calibration,
                        struct up_failure *failure) {
    struct up_record record = {.kind = "calibration"};
    calibration->id[0] = '\0';
    record.content = up_calibration_to_json(calibration);
    memcpy(record.bench, calibration->bench, sizeof record.bench);
    bool good = check(calibration, record.content, failure) &&
                catalogue_put(catalogue, &record, NULL, failure);
    if (good) {
        memcpy(calibration->id, record.id, sizeof record.id);
        memcpy(calibration->made_utc, record.made_utc, sizeof record.made_utc);
        good = catalogue_last_use_note(catalogue, calibration->bench, calibration->id, failure);
    }
    json_decref(record.content);
    return good;
}

/* ---- by which one a bench was last used ---- */

/* By which calibration a bench was last weighed here, noted outside the folder: a backup that is
   copied over the catalogue's own file leaves its place as it was, but does not hold the mark of
   what was lost. One small file for each place and bench; where there is none (another user, a new
   home) the place alone speaks. What stands there and is no such file vouches for nothing. */

enum { NOTE_MOST = 256 };

/* NULL where there is no home, or the place cannot be determined. */
static char *path_of(struct up_catalogue *catalogue, const char *bench) {
    char place[UP_SHA256_SIZE], name[UP_SHA256_SIZE];
    catalogue_place(catalogue, place);
    if (place[0] == '\0') {
        return NULL;
    }
    UP_FREED char *what = up_text_format("upthrust witness %s %s", place, bench);
    catalogue_hash_text(what, name);
    name[32] = '\0';
    return up_text_state_path(name);
}

/* NULL where there is none, or, `strange`, something else: a link, a pipe, a folder. */
static char *read_note(const char *path, bool *strange) {
    struct stat about;
    size_t length = 0;
    bool none = path == NULL || (lstat(path, &about) != 0 && (errno == ENOENT || errno == EACCES));
    char *note = none ? NULL : up_text_read_file(path, UP_LINKS_REFUSED, NOTE_MOST, &length, NULL);
    *strange = !none && note == NULL;
    return note;
}

char *catalogue_witness_obstacle(struct up_catalogue *catalogue, const char *bench) {
    bool strange = false;
    char *path = path_of(catalogue, bench);
    free(read_note(path, &strange));
    if (!strange) {
        free(path);
    }
    return strange ? path : NULL;
}

/* The mark by which a calibration is trusted, as words; "" where there is none. */
static bool mark_of(struct up_catalogue *catalogue, const char *calibration_id, char **words,
                    struct up_failure *failure) {
    char place[UP_SHA256_SIZE];
    catalogue_place(catalogue, place);
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        "SELECT record_id || ' ' || mark || ' ' || made_utc FROM local_mark WHERE record_id = ?"
        " AND place = ? AND mark IN ('adopted', 'made') ORDER BY mark",
        (const char *[]){calibration_id, place}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *words = up_text_format("%s", code == SQLITE_ROW ? catalogue_text_of(statement, 0) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

bool catalogue_last_use_agrees(struct up_catalogue *catalogue, const char *bench, bool *agrees,
                               struct up_failure *failure) {
    bool good = true, strange = false;
    char *path = path_of(catalogue, bench), *note = read_note(path, &strange), *words = NULL;
    *agrees = note == NULL && !strange;
    if (note != NULL) {
        char id[UP_ID_SIZE];
        snprintf(id, sizeof id, "%s", note);
        good = mark_of(catalogue, id, &words, failure);
        *agrees = good && words[0] != '\0' && strcmp(words, note) == 0;
    }
    free(words);
    free(note);
    free(path);
    return good;
}

static bool write_words(FILE *stream, void *context) {
    return fputs(context, stream) >= 0;
}

bool catalogue_last_use_note(struct up_catalogue *catalogue, const char *bench,
                             const char *calibration_id, struct up_failure *failure) {
    char *path = path_of(catalogue, bench), *words = NULL;
    bool agrees = true, good = mark_of(catalogue, calibration_id, &words, failure);
    if (good && path != NULL && words[0] != '\0') {
        bool strange = false;
        up_text_make_parents(path);
        free(read_note(path, &strange));
        if (strange) { /* it was told, and the bench was checked since */
            remove(path);
        }
        /* A home directory that cannot be written is not a fault, unless the file there forbids the
           use. */
        good = up_text_update_file(path, write_words, words, failure) ||
               (catalogue_last_use_agrees(catalogue, bench, &agrees, NULL) && agrees);
    }
    free(words);
    free(path);
    return good;
}
