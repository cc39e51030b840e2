/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "catalogue/verification.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "internal.h"
#include "text/text.h"

/* Choices of ours: a week, and the difference that shows another water. Fresh waters differ by up
   to 0.6 kg/m3, a pool's salt makes 2 and a sea's 25. */
static const double CHECK_LASTS_S = 7 * 86400.0;
static const double SAME_WATER_KG_M3 = 0.7;

/* In the order of one bench, by its own count where both have one. */
struct moment {
    double sequence; /* NaN: from before it was kept */
    char utc[UP_TIME_SIZE];
};

/* A session in which bodies were weighed. */
struct session {
    char bench[UP_NAME_SIZE], run_id[UP_ID_SIZE];
    struct moment at;
    bool outside, before;     /* one of them; of those before the last */
    char body_id[UP_ID_SIZE]; /* the last */
    bool elsewhere;
    double excess_kg_m3; /* the water's density over that of fresh water as warm */
};

struct up_verifier {
    struct up_catalogue *catalogue;
    json_t *calibrations; /* record id to its record's number and time; null: there is none */
    struct session *session;
    size_t count;
    json_t *by_run; /* run to its word's number */
};

const char *up_verification_word(enum up_verification verification) {
    return verification == UP_VERIFICATION_INSIDE    ? "inside"
           : verification == UP_VERIFICATION_OUTSIDE ? "outside"
                                                     : "unchecked";
}

/* ---- in which order, and how long ago ---- */

static struct moment moment_of(const struct up_record *record) {
    struct moment moment = {.sequence = up_record_number(record->content, "bench_sequence")};
    memcpy(moment.utc, record->made_utc, sizeof moment.utc);
    return moment;
}

static bool is_later(const struct moment *a, const struct moment *b) {
    return isnan(a->sequence) || isnan(b->sequence) ? strcmp(a->utc, b->utc) > 0
                                                    : a->sequence > b->sequence;
}

/* NaN where one is no time. */
static double seconds_between(const char *from_utc, const char *to_utc) {
    struct tm from = {0}, to = {0};
    bool good = strptime(from_utc, "%Y-%m-%dT%H:%M:%S", &from) != NULL &&
                strptime(to_utc, "%Y-%m-%dT%H:%M:%S", &to) != NULL;
    return good ? difftime(timegm(&to), timegm(&from)) : (double)NAN;
}

static double excess_kg_m3(double density_kg_m3, double temp_c) {
    return density_kg_m3 - up_water_fresh_kg_m3(temp_c, 0);
}

/* ---- what was weighed ---- */

/* The number and the time of a calibration, looked up once. */
static const json_t *calibration_of(const struct up_verifier *verifier, const char *id) {
    static const char sql[] =
        "SELECT t.bench_sequence, t.made_utc FROM record AS r JOIN typed_calibration AS t ON"
        " t.record = r.rowid WHERE r.id = ?";
    const json_t *known = json_object_get(verifier->calibrations, id);
    if (known == NULL) {
        sqlite3_stmt *statement = catalogue_ready(verifier->catalogue, sql, &id, 1, NULL);
        json_t *found = json_null();
        if (statement != NULL && sqlite3_step(statement) == SQLITE_ROW) {
            const char *utc = catalogue_text_of(statement, 1);
            found = sqlite3_column_type(statement, 0) == SQLITE_NULL
                        ? json_pack("[n, s]", utc)
                        : json_pack("[f, s]", sqlite3_column_double(statement, 0), utc);
        }
        sqlite3_reset(statement);
        json_object_set_new(verifier->calibrations, id, found);
        known = json_object_get(verifier->calibrations, id);
    }
    return known;
}

static bool take_check(const struct up_record *record, void *context) {
    struct up_verifier *verifier = context;
    const json_t *content = record->content;
    const char *run_id = up_record_text(content, "run_id");
    struct session *last = NULL; /* of here or of elsewhere, as this one is */
    for (size_t i = verifier->count; i > 0 && last == NULL; i--) {
        last = verifier->session[i - 1].elsewhere == record->elsewhere ? &verifier->session[i - 1]
                                                                       : NULL;
    }
    if (last == NULL || strcmp(last->run_id, run_id) != 0 ||
        strcmp(last->bench, record->bench) != 0) {
        verifier->session = up_reallocate(verifier->session, verifier->count + 1, sizeof *last);
        last = &verifier->session[verifier->count++];
        *last = (struct session){.elsewhere = record->elsewhere};
        catalogue_read_text(content, "run_id", last->run_id, sizeof last->run_id);
        memcpy(last->bench, record->bench, sizeof last->bench);
    }
    last->at = moment_of(record);
    if (strcmp(last->body_id, up_record_text(content, "reference_id")) != 0) {
        last->before = last->outside;
    } /* else it was weighed again, for the first time did not fit */
    last->outside = last->before || json_is_true(json_object_get(content, "outside"));
    catalogue_read_text(content, "reference_id", last->body_id, sizeof last->body_id);
    last->excess_kg_m3 = excess_kg_m3(up_record_number(content, "water_density_kg_m3"),
                                      up_record_number(content, "water_temp_c"));
    return true;
}

/* ---- what it says ---- */

struct asked {
    const char *bench, *calibration_id;
    bool elsewhere; /* only bodies of here speak for what was weighed here */
    struct moment at;
    double excess_kg_m3; /* NaN: not known */
};

static bool is_since_calibration(const struct up_verifier *verifier, const struct asked *asked,
                                 const struct session *session) {
    const json_t *made = calibration_of(verifier, asked->calibration_id);
    const json_t *sequence = json_array_get(made, 0);
    const char *utc = json_string_value(json_array_get(made, 1));
    struct moment at = {.sequence =
                            json_is_number(sequence) ? json_number_value(sequence) : (double)NAN};
    if (utc == NULL) {
        return false;
    }
    snprintf(at.utc, sizeof at.utc, "%s", utc);
    return is_later(&session->at, &at);
}

static enum up_verification judge(const struct up_verifier *verifier, const struct asked *asked) {
    size_t i = verifier->count;
    while (i > 0 && (strcmp(verifier->session[i - 1].bench, asked->bench) != 0 ||
                     (verifier->session[i - 1].elsewhere && !asked->elsewhere) ||
                     is_later(&verifier->session[i - 1].at, &asked->at))) {
        i--;
    }
    const struct session *last = i > 0 ? &verifier->session[i - 1] : NULL;
    if (last == NULL || !is_since_calibration(verifier, asked, last)) {
        return UP_VERIFICATION_NO_BODY;
    }
    if (last->outside) {
        return UP_VERIFICATION_OUTSIDE;
    }
    if (fabs(last->excess_kg_m3 - asked->excess_kg_m3) > SAME_WATER_KG_M3) {
        return UP_VERIFICATION_OTHER_WATER;
    }
    return seconds_between(last->at.utc, asked->at.utc) > CHECK_LASTS_S ? UP_VERIFICATION_OLD
                                                                        : UP_VERIFICATION_INSIDE;
}

static enum up_verification verdict_of_checks(const json_t *checks) {
    const json_t *check;
    size_t i;
    json_array_foreach(checks, i, check) {
        if (json_is_true(json_object_get(check, "outside"))) {
            return UP_VERIFICATION_OUTSIDE;
        }
    }
    return UP_VERIFICATION_INSIDE;
}

/* Members that results from before the model was kept lack do not count against them. */
static enum up_verification verification_of(const struct up_verifier *verifier,
                                            const struct up_record *record) {
    const json_t *own = json_object_get(record->content, "checks");
    struct up_result result;
    if (json_array_size(own) > 0) {
        return verdict_of_checks(own);
    }
    if (verifier->count == 0) {
        return UP_VERIFICATION_NO_BODY;
    }
    up_result_from_json(record->content, &result);
    double density_kg_m3 = result.weighing.term[UP_INPUT_WATER_DENSITY].value;
    const struct asked asked = {
        .bench = record->bench,
        .elsewhere = record->elsewhere,
        .calibration_id = result.calibration_id,
        .at = moment_of(record),
        .excess_kg_m3 = result.has_model ? excess_kg_m3(density_kg_m3, result.weighing.tank_temp_c)
                                         : (double)NAN};
    return judge(verifier, &asked);
}

/* The session of a result, as those that were judged are kept; the caller's. */
static char *session_of(const struct up_record *result) {
    return up_text_format("%s%s", result->elsewhere ? "elsewhere " : "",
                          up_record_text(result->content, "run_id"));
}

bool up_verifier_wants_detail(const struct up_verifier *verifier, const struct up_record *result) {
    UP_FREED char *key = session_of(result);
    return json_object_get(verifier->by_run, key) == NULL;
}

const char *up_verifier_visit(struct up_verifier *verifier, const struct up_record *result) {
    const char *run_id = up_record_text(result->content, "run_id");
    UP_FREED char *key = session_of(result);
    const json_t *known = json_object_get(verifier->by_run, key);
    enum up_verification verification = known != NULL
                                            ? (enum up_verification)json_integer_value(known)
                                            : verification_of(verifier, result);
    if (known == NULL && run_id[0] != '\0') { /* a session's first result was made when it ended */
        json_object_set_new(verifier->by_run, key, json_integer(verification));
    }
    return up_verification_word(verification);
}

/* ---- both ---- */

/* Of the results in focus: the sessions with bodies that were the last of the bench when each was
   stored, by its own count or by the clock, of here or of anyone. */
#define LAST_BEFORE(before, order)                                                                 \
    "(SELECT c.run_id FROM typed_reference_check AS c WHERE c.bench = r.bench AND " before         \
    " ORDER BY " order " DESC LIMIT 1)"
#define IN_FOCUS "FROM typed_result AS r WHERE r.item_id IN (SELECT item_id FROM in_focus)"
#define OF_HERE  " AND " CATALOGUE_IS_OWN("(SELECT id FROM record WHERE rowid = c.record)")
#define LAST_BY(before, order)                                                                     \
    "SELECT " LAST_BEFORE(before, order) " " IN_FOCUS " UNION SELECT " LAST_BEFORE(                \
        before OF_HERE, order) " " IN_FOCUS
static const char of_focus[] = "SELECT record FROM typed_reference_check WHERE run_id IN (" LAST_BY(
    "c.bench_sequence <= r.bench_sequence",
    "c.bench_sequence") " UNION " LAST_BY("c.made_utc <= r.made_utc", "c.made_utc") ")";

/* Of a bench that is asked about now: its last hundred, of anyone and of here. */
#define LAST_OF_BENCH(condition)                                                                   \
    "SELECT record FROM (SELECT c.record FROM typed_reference_check AS c WHERE c.bench = "         \
    "?2" condition " ORDER BY c.made_utc DESC LIMIT 100)"
static const char of_bench[] = LAST_OF_BENCH("") " UNION " LAST_OF_BENCH(OF_HERE);

/* `bench` NULL: those of all, or of what is in focus. */
static struct up_verifier *begin(struct up_catalogue *catalogue, const char *bench,
                                 struct up_failure *failure) {
    struct up_verifier *verifier = up_allocate(1, sizeof *verifier);
    *verifier = (struct up_verifier){
        .catalogue = catalogue, .calibrations = json_object(), .by_run = json_object()};
    if (!catalogue_each_in(catalogue, "reference_check",
                           bench != NULL        ? of_bench
                           : catalogue->focused ? of_focus
                                                : NULL,
                           bench, take_check, verifier, failure)) {
        up_verifier_release(verifier);
        return NULL;
    }
    return verifier;
}

struct up_verifier *up_verifier_begin(struct up_catalogue *catalogue, struct up_failure *failure) {
    return begin(catalogue, NULL, failure);
}

void up_verifier_release(struct up_verifier *verifier) {
    if (verifier != NULL) {
        json_decref(verifier->calibrations);
        json_decref(verifier->by_run);
        free(verifier->session);
        free(verifier);
    }
}

struct gather {
    struct up_verifier *verifier;
    json_t *words; /* result to its word */
};

static bool take_result(const struct up_record *record, void *context) {
    const struct gather *gather = context;
    json_object_set_new(gather->words, record->subject,
                        json_string(up_verifier_visit(gather->verifier, record)));
    return true;
}

static bool wants_detail(const struct up_record *result, void *context) {
    const struct gather *gather = context;
    return up_verifier_wants_detail(gather->verifier, result);
}

json_t *up_verifications(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct gather gather = {up_verifier_begin(catalogue, failure), json_object()};
    if (gather.verifier == NULL ||
        !catalogue_each_facts(catalogue, "result", wants_detail, take_result, &gather, failure)) {
        json_decref(gather.words);
        gather.words = NULL;
    }
    up_verifier_release(gather.verifier);
    return gather.words;
}

bool up_verification_now(struct up_catalogue *catalogue, const char *bench,
                         const char *calibration_id, const struct up_water *tank,
                         enum up_verification *verification, struct up_failure *failure) {
    struct up_verifier *verifier = begin(catalogue, bench, failure);
    struct asked now = {.bench = bench,
                        .calibration_id = calibration_id,
                        .at.sequence = (double)INFINITY,
                        .excess_kg_m3 = (double)NAN};
    struct up_water water = *tank;
    struct up_water_density density;
    water.temp_c = 20;
    if (up_water_density(&water, &density, NULL)) {
        now.excess_kg_m3 = excess_kg_m3(density.density_kg_m3.value, water.temp_c);
    }
    catalogue_now(now.at.utc);
    if (verifier != NULL) {
        *verification = judge(verifier, &now);
    }
    up_verifier_release(verifier);
    return verifier != NULL;
}
