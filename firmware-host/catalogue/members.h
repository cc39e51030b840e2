/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a record of each kind holds, in one place: its members' keys, where they stand in C, their
 * units and bounds. JSON both ways, the checks at the door, CSV columns, SQL views and the
 * descriptions of the files are made from these tables.
 */
#pragma once

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

enum member_type {
    MEMBER_TEXT,
    MEMBER_LINES,  /* text of several lines: in the view and in JSON, not in CSV */
    MEMBER_NUMBER, /* or null */
    MEMBER_INTEGER,
    MEMBER_TRUTH,
    MEMBER_LIST,   /* of nested objects, or of numbers */
    MEMBER_OBJECT, /* nested; both in JSON only */
};

/* How it stands in C. */
enum member_form {
    IN_NO_STRUCT, /* whoever stores the record puts it there */
    IN_DOUBLE,
    IN_THOUSANDTHS, /* kilograms where JSON has grams, cubic metres where it has litres */
    IN_DOF,         /* infinite is null, which JSON needs */
    IN_ABOVE_ZERO,  /* 0 is null */
    IN_INTEGER,     /* of four or eight bytes, not negative */
    IN_BOOL,
    IN_TEXT,         /* an array of characters */
    IN_TEXT_OR_NULL, /* empty is null */
    IN_POINTER,      /* to text that somebody else owns; written only */
    IN_ARRAY,        /* a list's structs, as its `nested` says */
    IN_OWN,          /* by functions of its own */
};

/* The bounds of a number: beyond them it is a mistake or malice, whatever the item. */
enum member_unit {
    UNIT_ONE, /* a plain number */
    UNIT_SHARE,
    UNIT_PROBABILITY,
    UNIT_DOF,
    UNIT_COUNTS,
    UNIT_COUNTS_PER_KG,
    UNIT_COUNTS_PER_KG2,
    UNIT_COUNTS_S,
    UNIT_G,
    UNIT_KG,
    UNIT_G_MIN,
    UNIT_G_KG,
    UNIT_KG_M3,
    UNIT_KG_M3_K,
    UNIT_KG_M3_M,
    UNIT_M,
    UNIT_M2,
    UNIT_M3,
    UNIT_L,
    UNIT_NM,
    UNIT_C,
    UNIT_PER_K,
    UNIT_PA,
    UNIT_BAR,
    UNIT_S,
    UNITS
};

enum {
    LATER = 1,     /* not in records from before there was one, or null there */
    JSON_ONLY = 2, /* no column */
    NEEDED = 4,    /* a number that may not be null */
    NOT_NEGATIVE = 8,
    ABOVE_ZERO = 16,
    OF_RECORD = 32, /* the record has it beside its content: columns show that */
};

struct catalogue_nested;

struct catalogue_member {
    const char *key; /* NULL ends a table */
    enum member_type type;
    enum member_form form;
    enum member_unit unit;
    unsigned flags;
    size_t offset, size;
    const char *what; /* one line for whoever reads the files */
    long long most;   /* integers; 0: below 2^53 */
    const struct catalogue_nested *nested;
    const char *const *words;           /* the only ones that a text may be; ended by NULL */
    json_t *(*write)(const void *from); /* NULL: left out */
    bool (*read)(const json_t *value, void *to);
};

/* What a list's elements or an object hold; `members` NULL: a list of numbers in `unit`. */
struct catalogue_nested {
    const struct catalogue_member *members;
    enum member_unit unit;
    size_t most; /* elements; 0: as many as a record has room for */
    /* IN_ARRAY: of the structs, and where their number (unsigned) stands. */
    size_t stride, count_at;
};

/* Rows of a table; MEMBERS_OF is the struct. */
#define AT(member)                                                                                 \
    .offset = offsetof(MEMBERS_OF, member), .size = sizeof(((MEMBERS_OF *)NULL)->member)
#define ROW(key_, type_, form_, flags_, what_)                                                     \
    .key = (key_), .type = (type_), .form = (form_), .flags = (flags_), .what = (what_)
#define NUMBER_AS(form_, key_, member_, unit_, flags_, what_)                                      \
    { ROW(key_, MEMBER_NUMBER, form_, flags_, what_), .unit = (unit_), AT(member_) }
#define NUMBER(key_, member_, unit_, flags_, what_)                                                \
    NUMBER_AS(IN_DOUBLE, key_, member_, unit_, flags_, what_)
#define THOUSANDTHS(key_, member_, unit_, flags_, what_)                                           \
    NUMBER_AS(IN_THOUSANDTHS, key_, member_, unit_, flags_, what_)
#define DOF(key_, member_, what_) NUMBER_AS(IN_DOF, key_, member_, UNIT_DOF, NOT_NEGATIVE, what_)
#define INTEGER(key_, member_, most_, flags_, what_)                                               \
    { ROW(key_, MEMBER_INTEGER, IN_INTEGER, flags_, what_), .most = (most_), AT(member_) }
#define TRUTH(key_, member_, flags_, what_)                                                        \
    { ROW(key_, MEMBER_TRUTH, IN_BOOL, flags_, what_), AT(member_) }
#define TEXT_AS(form_, key_, member_, flags_, what_)                                               \
    { ROW(key_, MEMBER_TEXT, form_, flags_, what_), AT(member_) }
#define TEXT(key_, member_, flags_, what_) TEXT_AS(IN_TEXT, key_, member_, flags_, what_)
#define LIST(key_, member_, nested_, flags_, what_)                                                \
    {                                                                                              \
        ROW(key_, MEMBER_LIST, IN_ARRAY, (flags_) | JSON_ONLY, what_), .nested = &(nested_),       \
                                                                       AT(member_)                 \
    }
#define OWN(key_, type_, flags_, write_, read_, what_)                                             \
    ROW(key_, type_, IN_OWN, flags_, what_), .write = (write_), .read = (read_)

/* Members without a place in a struct. */
#define TEXT_ALONE(key_, flags_, what_)                                                            \
    { ROW(key_, MEMBER_TEXT, IN_NO_STRUCT, flags_, what_) }
#define NUMBER_ALONE(key_, unit_, flags_, what_)                                                   \
    { ROW(key_, MEMBER_NUMBER, IN_NO_STRUCT, flags_, what_), .unit = (unit_) }
#define INTEGER_ALONE(key_, most_, flags_, what_)                                                  \
    { ROW(key_, MEMBER_INTEGER, IN_NO_STRUCT, flags_, what_), .most = (most_) }
#define TRUTH_ALONE(key_, flags_, what_)                                                           \
    { ROW(key_, MEMBER_TRUTH, IN_NO_STRUCT, flags_, what_) }
#define LIST_ALONE(key_, nested_, flags_, what_)                                                   \
    { ROW(key_, MEMBER_LIST, IN_NO_STRUCT, (flags_) | JSON_ONLY, what_), .nested = &(nested_) }
#define END                                                                                        \
    { .key = NULL }

/* The bench of a record, and its place in the bench's own count. A catalogue goes on counting from
   what others brought, so imported numbers must leave room for that. */
#define SEQUENCE_MOST (1LL << 52)
#define BENCH_ALONE   TEXT_ALONE("bench", OF_RECORD, "id of the rig")
#define BENCH_SEQUENCE                                                                             \
    INTEGER_ALONE("bench_sequence", SEQUENCE_MOST, LATER,                                          \
                  "how many records this bench had stored by then")

bool catalogue_is_column(const struct catalogue_member *member);
bool catalogue_is_in_csv(const struct catalogue_member *member);

/* The content of a record from its struct; a new reference. */
json_t *members_to_json(const struct catalogue_member *members, const void *from);
void members_add_to_json(const struct catalogue_member *members, const void *from, json_t *json);

/* And back. What is missing or of another type becomes NaN, 0, false or empty; a text that is too
   long is cut between characters. False where it could not have been written so. */
bool members_from_json(const struct catalogue_member *members, const json_t *content, void *to);

/* Whether each number that is needed was there. */
bool members_are_known(const struct catalogue_member *members, const void *from);

/* What is wrong with a content that came from elsewhere: false, and the member's place and what was
   wanted of it. */
struct member_fault {
    char place[100];
    char text[120];
};
bool members_check(const struct catalogue_member *members, const json_t *content,
                   struct member_fault *fault);
/* Of one whose detail was taken away: its columns alone. */
bool members_check_columns(const struct catalogue_member *members, const json_t *content,
                           struct member_fault *fault);
