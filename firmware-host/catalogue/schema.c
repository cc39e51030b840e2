/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

#define TEXT(name)                                                                                 \
    { name, COLUMN_TEXT, false }
#define NUMBER(name)                                                                               \
    { name, COLUMN_NUMBER, false }
#define INTEGER(name)                                                                              \
    { name, COLUMN_INTEGER, false }
#define TRUTH(name)                                                                                \
    { name, COLUMN_TRUTH, false }
/* Not in bodies from before there was one, or null there. */
#define LATER(type, name)                                                                          \
    { name, COLUMN_##type, true }
#define END                                                                                        \
    { NULL, COLUMN_TEXT, false }

static const struct catalogue_column item_columns[] = {TEXT("name"),
                                                       TEXT("kind"),
                                                       TEXT("maker"),
                                                       TEXT("model"),
                                                       TEXT("size"),
                                                       INTEGER("pieces"),
                                                       NUMBER("tolerance_g"),
                                                       NUMBER("expansion_per_k"),
                                                       NUMBER("u_expansion_per_k"),
                                                       TRUTH("compressible"),
                                                       LATER(TEXT, "part_ids"),
                                                       END};
static const struct catalogue_column calibration_columns[] = {
    TEXT("bench"),
    NUMBER("slope_counts_kg"),
    NUMBER("u_slope_counts_kg"),
    NUMBER("dof"),
    NUMBER("mass_tolerance_rel"),
    NUMBER("lack_of_fit_kg"),
    NUMBER("offset_counts"),
    NUMBER("u_offset_counts"),
    NUMBER("creep_rel_decade"),
    NUMBER("noise_counts"),
    NUMBER("air_density_kg_m3"),
    NUMBER("read_after_s"),
    NUMBER("window_s"),
    NUMBER("span_kg"),
    TEXT("rig_sha256"),
    LATER(INTEGER, "bench_sequence"),
    LATER(NUMBER, "unloading_slope_counts_kg"),
    LATER(NUMBER, "u_unloading_slope_counts_kg"),
    LATER(NUMBER, "quadratic_counts_kg2"),
    LATER(NUMBER, "hysteresis_kg"),
    LATER(TEXT, "mass_class"),
    LATER(NUMBER, "temp_c"),
    LATER(NUMBER, "preloaded"),
    END};
static const struct catalogue_column result_columns[] = {TEXT("item_id"),
                                                         TEXT("run_id"),
                                                         TEXT("water"),
                                                         TEXT("basis"),
                                                         NUMBER("water_density_kg_m3"),
                                                         NUMBER("u_water_density_kg_m3"),
                                                         NUMBER("water_temp_c"),
                                                         NUMBER("salinity_g_kg"),
                                                         NUMBER("depth_m"),
                                                         NUMBER("immersion_depth_m"),
                                                         NUMBER("air_pressure_pa"),
                                                         NUMBER("soak_s"),
                                                         TRUTH("compressible"),
                                                         NUMBER("buoyancy_g"),
                                                         NUMBER("u_buoyancy_g"),
                                                         NUMBER("dof"),
                                                         NUMBER("expanded_u_g"),
                                                         NUMBER("coverage"),
                                                         NUMBER("tolerance_g"),
                                                         NUMBER("confidence"),
                                                         NUMBER("probability_positive"),
                                                         NUMBER("probability_neutral"),
                                                         NUMBER("probability_negative"),
                                                         TEXT("class"),
                                                         INTEGER("trials"),
                                                         NUMBER("volume_m3"),
                                                         NUMBER("mass_kg"),
                                                         TEXT("method"),
                                                         TEXT("bench"),
                                                         LATER(INTEGER, "bench_sequence"),
                                                         LATER(INTEGER, "pieces"),
                                                         LATER(NUMBER, "guard_low_g"),
                                                         LATER(NUMBER, "guard_high_g"),
                                                         LATER(INTEGER, "more_trials"),
                                                         LATER(NUMBER, "first_order_expanded_u_g"),
                                                         LATER(TRUTH, "first_order_agrees"),
                                                         LATER(INTEGER, "draws"),
                                                         END};
static const struct catalogue_column run_columns[] = {TEXT("bench"),
                                                      LATER(INTEGER, "bench_sequence"),
                                                      TEXT("what"),
                                                      TEXT("version"),
                                                      LATER(TEXT, "item_id"),
                                                      LATER(TEXT, "calibration_id"),
                                                      LATER(TEXT, "rig_file"),
                                                      TEXT("rig_sha256"),
                                                      LATER(TEXT, "rig_record_id"),
                                                      LATER(TEXT, "begun_utc"),
                                                      LATER(TEXT, "how_ended"),
                                                      LATER(TEXT, "reason"),
                                                      LATER(INTEGER, "trials"),
                                                      LATER(INTEGER, "results"),
                                                      END};
static const struct catalogue_column trial_columns[] = {TEXT("run_id"),
                                                        TEXT("item_id"),
                                                        INTEGER("number"),
                                                        NUMBER("load_counts"),
                                                        NUMBER("u_plateau_counts"),
                                                        LATER(NUMBER, "load_g"),
                                                        INTEGER("shakes"),
                                                        TRUTH("still_gaining"),
                                                        NUMBER("soak_s"),
                                                        NUMBER("temp_c"),
                                                        TEXT("bench"),
                                                        LATER(INTEGER, "bench_sequence"),
                                                        END};
static const struct catalogue_column rig_columns[] = {
    TEXT("bench"),      LATER(INTEGER, "bench_sequence"), TEXT("name"), TEXT("file_sha256"),
    TEXT("rig_sha256"), LATER(LINES, "file_text"),        END};
static const struct catalogue_column decision_columns[] = {TEXT("result_id"),
                                                           TEXT("item_id"),
                                                           TEXT("run_id"),
                                                           TEXT("water"),
                                                           NUMBER("tolerance_g"),
                                                           NUMBER("confidence"),
                                                           NUMBER("coverage"),
                                                           NUMBER("probability_positive"),
                                                           NUMBER("probability_neutral"),
                                                           NUMBER("probability_negative"),
                                                           TEXT("class"),
                                                           TEXT("rule"),
                                                           TEXT("bench"),
                                                           LATER(INTEGER, "bench_sequence"),
                                                           LATER(TRUTH, "rejudged"),
                                                           LATER(NUMBER, "confidence_at_look"),
                                                           LATER(NUMBER, "guard_low_g"),
                                                           LATER(NUMBER, "guard_high_g"),
                                                           LATER(INTEGER, "more_trials"),
                                                           END};
static const struct catalogue_column reference_columns[] = {TEXT("name"),
                                                            NUMBER("mass_kg"),
                                                            NUMBER("u_mass_kg"),
                                                            NUMBER("volume_m3"),
                                                            NUMBER("u_volume_m3"),
                                                            LATER(NUMBER, "expansion_per_k"),
                                                            LATER(NUMBER, "u_expansion_per_k"),
                                                            END};
static const struct catalogue_column check_columns[] = {TEXT("reference_id"),
                                                        TEXT("run_id"),
                                                        TEXT("name"),
                                                        NUMBER("load_counts"),
                                                        NUMBER("reads_g"),
                                                        NUMBER("u_reads_g"),
                                                        NUMBER("expected_g"),
                                                        NUMBER("water_density_kg_m3"),
                                                        NUMBER("deviation_g"),
                                                        NUMBER("u_deviation_g"),
                                                        NUMBER("e_n"),
                                                        NUMBER("low_g"),
                                                        NUMBER("high_g"),
                                                        TRUTH("by_history"),
                                                        TRUTH("outside"),
                                                        TRUTH("confirmed"),
                                                        TEXT("bench"),
                                                        LATER(INTEGER, "bench_sequence"),
                                                        LATER(NUMBER, "water_temp_c"),
                                                        END};
static const struct catalogue_column gear_kind_columns[] = {TEXT("name"), NUMBER("tolerance_one_g"),
                                                            NUMBER("tolerance_pair_g"), END};

const struct catalogue_table catalogue_tables[CATALOGUE_TABLES] = {
    {"item", "item_id", "items.csv", "items", item_columns},
    {"calibration", "calibration_id", "calibrations.csv", "calibrations", calibration_columns},
    {"result", "result_id", "results.csv", "results", result_columns},
    {"run", "run_id", "runs.csv", "runs", run_columns},
    {"trial", "trial_id", "trials.csv", "trials", trial_columns},
    {"rig", "rig_id", "rigs.csv", "rigs", rig_columns},
    {"decision", "decision_id", "decisions.csv", "decisions", decision_columns},
    {"reference", "reference_id", "reference_bodies.csv", "reference_bodies", reference_columns},
    {"reference_check", "reference_check_id", "reference_checks.csv", "reference_checks",
     check_columns},
    {"gear_kind", "gear_kind_id", "gear_kinds.csv", "gear_kinds", gear_kind_columns},
};

const struct catalogue_table *catalogue_table_of(const char *kind) {
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        if (strcmp(catalogue_tables[i].kind, kind) == 0) {
            return &catalogue_tables[i];
        }
    }
    return NULL;
}

/* recursive_triggers closes the way round the DELETE trigger that REPLACE would be; it holds for
   connections of ours only. record_once closes it for every connection, and also where REPLACE
   names a rowid that is taken. The same record again is let go: that is what merging meets. */
static const char tables[] =
    "CREATE TABLE record ("
    " id TEXT NOT NULL, sha256 TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,"
    " bench TEXT NOT NULL, made_utc TEXT NOT NULL, body TEXT NOT NULL,"
    " PRIMARY KEY (id, sha256));"
    "CREATE TABLE replaces ("
    " new_id TEXT NOT NULL, old_id TEXT NOT NULL, PRIMARY KEY (new_id, old_id)) WITHOUT ROWID;"
    "CREATE INDEX record_subject ON record (kind, subject);"
    "CREATE INDEX replaces_old ON replaces (old_id);"
    "CREATE TRIGGER record_once BEFORE INSERT ON record"
    " WHEN EXISTS (SELECT 1 FROM record WHERE rowid = NEW.rowid"
    "  OR (id = NEW.id AND sha256 = NEW.sha256))"
    " BEGIN SELECT CASE WHEN EXISTS (SELECT 1 FROM record WHERE id = NEW.id"
    "  AND sha256 = NEW.sha256 AND kind = NEW.kind AND subject = NEW.subject"
    "  AND bench = NEW.bench AND made_utc = NEW.made_utc AND body = NEW.body)"
    "  THEN RAISE(IGNORE) ELSE RAISE(ABORT, 'records are never changed') END; END;"
    "CREATE TRIGGER record_kept BEFORE UPDATE ON record"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER record_stays BEFORE DELETE ON record"
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
    "CREATE TRIGGER replaces_kept BEFORE UPDATE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER replaces_stays BEFORE DELETE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;";

/* What the second version of the tables added. record_time gives one kind in the order of time
   without sorting; bench_counter is no truth, only the last number and time of each bench, so that
   nobody has to read all records for them. */
static const char tables_2[] =
    "CREATE INDEX record_time ON record (kind, made_utc, id);"
    "CREATE TABLE bench_counter ("
    " bench TEXT PRIMARY KEY, last_sequence INTEGER NOT NULL, last_utc TEXT NOT NULL,"
    " ran_back INTEGER NOT NULL) WITHOUT ROWID;";

const char catalogue_count_again[] =
    "DELETE FROM bench_counter;"
    "INSERT INTO bench_counter"
    " SELECT bench, coalesce(max(n), 0), max(made_utc), coalesce(max(back), 0) FROM ("
    "  SELECT bench, n, made_utc, made_utc < max(made_utc) OVER ("
    "   PARTITION BY bench ORDER BY n, made_utc"
    "   ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS back FROM ("
    "   SELECT bench, made_utc, CASE WHEN json_valid(body)"
    "    THEN json_extract(body, '$.bench_sequence') END AS n"
    "   FROM record WHERE bench <> '')) GROUP BY bench;";

/* For others, who may rely on names and columns; we ask the tables themselves. */
static const char views[] =
    "CREATE VIEW live AS SELECT id, sha256, kind, subject, bench, made_utc, body FROM record"
    " WHERE id NOT IN (SELECT old_id FROM replaces);"
    "CREATE VIEW current AS SELECT id, sha256, kind, subject, bench, made_utc, body FROM ("
    " SELECT *, row_number() OVER (PARTITION BY kind, subject"
    "  ORDER BY made_utc DESC, id DESC) AS place FROM live) WHERE place = 1;"
    "CREATE VIEW plateau AS SELECT CASE kind WHEN 'trial' THEN subject END AS trial_id,"
    " CASE kind WHEN 'trial' THEN json_extract(body, '$.run_id') ELSE subject END AS run_id,"
    " json_each.key + 1 AS number, json_extract(value, '$.of') AS \"of\","
    " json_extract(value, '$.start_s') AS start_s, json_extract(value, '$.end_s') AS end_s,"
    " json_extract(value, '$.step_s') AS step_s,"
    " json_extract(value, '$.load_counts') AS load_counts,"
    " json_extract(value, '$.u_load_counts') AS u_load_counts,"
    " json_extract(value, '$.slope_counts_s') AS slope_counts_s,"
    " json_extract(value, '$.readings') AS readings,"
    " json_extract(value, '$.glitches') AS glitches,"
    " json_extract(value, '$.temp_c') AS temp_c, json_extract(value, '$.late_s') AS late_s"
    " FROM current, json_each(current.body, '$.plateaus') WHERE kind IN ('trial', 'run');"
    "CREATE VIEW model AS SELECT maker, model, size, count(*) AS items,"
    " group_concat(item_id, ' ') AS item_ids FROM item WHERE model <> ''"
    " GROUP BY maker, model, size;";

/* Takes `text` and returns it with the rest behind it. */
static char *append(char *text, char *more) {
    char *both = up_text_format("%s%s", text, more);
    free(text);
    free(more);
    return both;
}

/* json_extract and not ->>: a reader with an SQLite from before 3.38 could not even open the file
   otherwise. */
static char *view(char *sql, const struct catalogue_table *table) {
    sql = append(sql, up_text_format("CREATE VIEW %s AS SELECT subject AS %s, id AS record_id,"
                                     " made_utc",
                                     table->kind, table->id_name));
    for (const struct catalogue_column *column = table->columns; column->name != NULL; column++) {
        const char *name = column->name;
        sql =
            append(sql, strcmp(name, "bench") == 0
                            ? up_text_format(", bench")
                            : up_text_format(", json_extract(body, '$.%s') AS \"%s\"", name, name));
    }
    return append(sql, up_text_format(" FROM current WHERE kind = '%s';", table->kind));
}

static char *all_views(char *sql) {
    sql = append(sql, up_text_format("%s", views));
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = view(sql, &catalogue_tables[i]);
    }
    return sql;
}

char *catalogue_schema(void) {
    return all_views(up_text_format("%s%s", tables, tables_2));
}

/* Views hold nothing, so they are made anew. */
char *catalogue_migration(int version) {
    char *sql = up_text_format("DROP VIEW IF EXISTS current; DROP VIEW IF EXISTS live;"
                               "DROP VIEW IF EXISTS plateau; DROP VIEW IF EXISTS model;");
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = append(sql, up_text_format("DROP VIEW IF EXISTS %s;", catalogue_tables[i].kind));
    }
    if (version < 2) {
        sql = append(sql, up_text_format("%s%s", tables_2, catalogue_count_again));
    }
    return all_views(sql);
}
