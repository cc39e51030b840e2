/* SPDX-License-Identifier: GPL-3.0-or-later */
/* ports: which serial ports there are, what each sends, and a rig file that reads it. */
#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "text/clock.h"
#include "text/json.h"
#include "text/text.h"
#include "upthrust/wire.h"
#include "wire/guess.h"
#include "wire/port.h"

const struct option_text options_ports[] = {
    {"listen", NULL, "open each port, try rates and layouts, and show what comes"},
    {"port", "PATH", "this one only; a pseudo-terminal too"},
    {"replay", "FILE", "with --listen: a file of recorded bytes instead of a port"},
    {"seconds", "S", "how long to listen at each rate (default 3)"},
    {"write", "FILE", "write the rig file that fits; an existing file is left alone"},
    OPTION_JSON,
    OPTION_END};

enum { HEARD_MAX = 65536, ENOUGH_BYTES = 16384, SHOWN_LINES = 3 };

/* In the order in which devices have them, roughly (common practice, no source). */
static const struct up_port_settings tried[] = {
    {9600, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},  {115200, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
    {57600, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0}, {38400, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
    {19200, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0}, {4800, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
    {2400, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},  {9600, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},
    {4800, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},  {2400, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},
    {1200, 7, 1, UP_PARITY_EVEN, UP_FLOW_NONE, 0},  {230400, 8, 1, UP_PARITY_NONE, UP_FLOW_NONE, 0},
};
enum { TRIED = sizeof tried / sizeof tried[0] };

struct heard {
    struct up_port port;
    enum up_port_kind kind;
    struct up_port_settings settings;
    char bytes[HEARD_MAX];
    size_t length;
    double span_s; /* between the first and the last bytes; 0 where nobody saw them come */
    bool found;
    struct up_guess guess;
    struct up_failure failure; /* where it was not */
    char *rig;                 /* the file's text */
};

/* ---- hearing ---- */

static bool hear_source(struct up_source *source, double seconds, struct heard *heard) {
    double begin_s = up_monotonic_s(), first_s = 0;
    heard->length = 0;
    heard->span_s = 0;
    while (up_monotonic_s() - begin_s < seconds && heard->length < ENOUGH_BYTES && signalled == 0) {
        struct pollfd entry = {.fd = up_source_descriptor(source), .events = POLLIN};
        size_t got = 0;
        enum up_read read;
        if (poll(&entry, 1, 100) <= 0) {
            continue;
        }
        read =
            up_source_read(source, heard->bytes + heard->length, HEARD_MAX - heard->length, &got);
        if (got > 0) {
            first_s = heard->length == 0 ? up_monotonic_s() : first_s;
            heard->span_s = up_monotonic_s() - first_s;
            heard->length += got;
        }
        if (read == UP_READ_LOST) {
            return up_fail(&heard->failure, UP_STATUS_UNABLE,
                           "the device is gone: check its cable");
        }
        if (read == UP_READ_END) {
            break;
        }
    }
    return true;
}

static bool judge_heard(struct heard *heard) {
    struct up_guess *guess = &heard->guess;
    double rate_hz = (double)NAN;
    if (!up_guess_layout(heard->bytes, heard->length, rate_hz, guess, &heard->failure)) {
        return false;
    }
    if (heard->span_s > 0 && guess->fits > 1) {
        rate_hz = (double)(guess->fits - 1) / heard->span_s;
        return up_guess_layout(heard->bytes, heard->length, rate_hz, guess, &heard->failure);
    }
    return true;
}

static bool is_pseudo_terminal(const char *path) {
    char *real = realpath(path, NULL);
    bool pty = real != NULL && strncmp(real, "/dev/pts/", 9) == 0;
    free(real);
    return pty;
}

/* At one rate; false with an empty failure where the next rate is worth a try. */
static bool try_settings(struct heard *heard, double seconds, bool *go_on) {
    struct up_rig rig = {.port_kind = heard->kind, .port = heard->settings};
    struct up_source *source = NULL;
    bool good = up_source_open(&rig, heard->port.name, &source, &heard->failure) &&
                hear_source(source, seconds, heard);
    up_source_close(source);
    *go_on = good && heard->length > 0 && signalled == 0;
    if (good && heard->length == 0) {
        good = up_fail(&heard->failure, UP_STATUS_UNABLE,
                       "nothing came in %g s: the device is off, or talks only when asked (the "
                       "key poll of a rig file)",
                       seconds);
    }
    return good && judge_heard(heard);
}

static void hear_port(struct heard *heard, double seconds) {
    bool go_on = true;
    int last = 1;
    heard->kind = is_pseudo_terminal(heard->port.name) ? UP_PORT_PTY : UP_PORT_SERIAL;
    if (heard->kind == UP_PORT_SERIAL) {
        last = TRIED;
    }
    for (int i = 0; i < last && go_on && !heard->found; i++) {
        heard->settings = tried[i];
        heard->found = try_settings(heard, seconds, &go_on);
    }
}

static bool hear_file(const char *path, struct heard *heard) {
    struct up_source *source = NULL;
    size_t got = 0;
    bool good = up_source_open_capture(path, &source, &heard->failure);
    heard->kind = UP_PORT_CAPTURE;
    snprintf(heard->port.name, sizeof heard->port.name, "%s", path);
    while (good && heard->length < HEARD_MAX &&
           up_source_read(source, heard->bytes + heard->length, HEARD_MAX - heard->length, &got) ==
               UP_READ_BYTES) {
        heard->length += got;
    }
    up_source_close(source);
    heard->found = good && judge_heard(heard);
    return heard->found;
}

/* ---- the rig file ---- */

static bool is_plain(const char *text) {
    return text[0] != '\0' &&
           text[strspn(text, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                             "0123456789._-/:+")] == '\0';
}

/* By its USB identity a port is found again under any name. */
static char *path_of(const struct heard *heard) {
    const struct up_port *port = &heard->port;
    if (heard->kind == UP_PORT_SERIAL && port->usb_vendor >= 0) {
        bool serial = is_plain(port->usb_serial);
        return up_text_format("path = usb:%04x:%04x%s%s\n", (unsigned)port->usb_vendor,
                              (unsigned)port->usb_product, serial ? ":" : "",
                              serial ? port->usb_serial : "");
    }
    return is_plain(port->name) ? up_text_format("path = %s\n", port->name)
                                : up_text_format("; path = give it here\n");
}

static char *port_section(const struct heard *heard) {
    static const char *const parity[] = {"none", "even", "odd"};
    static const char *const kind[] = {
        [UP_PORT_PTY] = "pty", [UP_PORT_SERIAL] = "serial", [UP_PORT_CAPTURE] = "capture"};
    char *path = path_of(heard), *text;
    if (heard->kind == UP_PORT_SERIAL) {
        text = up_text_format("[port]\nkind = serial\n%sbaud = %d\ndata_bits = %d\nparity = %s\n"
                              "stop_bits = %d\n",
                              path, heard->settings.baud, heard->settings.data_bits,
                              parity[heard->settings.parity], heard->settings.stop_bits);
    } else {
        text = up_text_format("[port]\nkind = %s\n%s", kind[heard->kind], path);
    }
    free(path);
    return text;
}

static void write_rig(struct heard *heard) {
    char *port = port_section(heard);
    heard->rig = up_text_format(
        "; Guessed by upthrust ports: %llu of %llu lines fit. Compare each key with the device;\n"
        "; give [sensor] capacity_kg, [tank] and [bench] too: rigs/README.md tells all keys.\n"
        "[rig]\nid = my-bench\n\n%s\n%s",
        (unsigned long long)heard->guess.fits,
        (unsigned long long)(heard->guess.lines - heard->guess.passed), port,
        heard->guess.line_section);
    free(port);
}

static bool put_text(FILE *stream, void *context) {
    return fputs(context, stream) != EOF;
}

static bool save_rig(const char *file, struct heard *heard, struct up_failure *failure) {
    if (access(file, F_OK) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s is there already and is left alone: give --write another name", file);
    }
    return up_text_write_file(file, put_text, heard->rig, failure);
}

/* ---- telling ---- */

static void print_port(const struct up_port *port) {
    char *name = up_text_for_terminal(port->name);
    char *what = up_text_for_terminal(port->description);
    char *maker = up_text_for_terminal(port->manufacturer);
    char *serial = up_text_for_terminal(port->usb_serial);
    printf("%-16s %-9s", name, up_transport_name(port->transport));
    if (port->usb_vendor >= 0) {
        printf(" usb:%04x:%04x%s%s", (unsigned)port->usb_vendor, (unsigned)port->usb_product,
               serial[0] != '\0' ? ":" : "", serial);
    }
    printf("  %s%s%s\n", what, maker[0] != '\0' ? ", " : "", maker);
    free(name);
    free(what);
    free(maker);
    free(serial);
}

/* What arrived, as it came: from the middle, since the first line is cut. */
static void print_sample(const struct heard *heard) {
    const char *end = heard->bytes + heard->length;
    const char *at = heard->bytes + heard->length / 2;
    for (int i = 0; i <= SHOWN_LINES && at < end; i++) {
        size_t length = 0;
        while (at + length < end && at[length] != '\n' && at[length] != '\r') {
            length++;
        }
        if (i > 0 && length > 0) {
            char *clean = up_text_clean(at, length < 76 ? length : 76);
            char *safe = up_text_for_terminal(clean);
            printf("    %s\n", safe);
            free(safe);
            free(clean);
        }
        i -= i > 0 && length == 0;
        at += length + 1;
    }
}

/* `alone`: its failure becomes the program's, and is told there. */
static void print_heard(const struct heard *heard, bool alone) {
    static const char letter[] = {'N', 'E', 'O'};
    char *name = up_text_for_terminal(heard->port.name);
    printf("%s", name);
    if (heard->kind == UP_PORT_SERIAL && heard->length > 0) {
        printf(" at %d baud, %d%c%d", heard->settings.baud, heard->settings.data_bits,
               letter[heard->settings.parity], heard->settings.stop_bits);
    }
    printf(": %zu bytes\n", heard->length);
    print_sample(heard);
    if (heard->found) {
        char *words = up_text_for_terminal(heard->guess.words);
        printf("  %s; %llu of %llu lines fit\n", words, (unsigned long long)heard->guess.fits,
               (unsigned long long)(heard->guess.lines - heard->guess.passed));
        free(words);
    } else if (!alone) {
        char *why = up_text_for_terminal(heard->failure.text);
        printf("  %s\n", why);
        free(why);
    }
    free(name);
}

static json_t *port_to_json(const struct up_port *port) {
    json_t *json =
        json_pack("{s:o, s:o, s:s}", "name", up_json_text(port->name), "description",
                  up_json_text(port->description), "transport", up_transport_name(port->transport));
    if (port->usb_vendor >= 0) {
        json_object_update_new(json, json_pack("{s:i, s:i, s:o, s:o}", "usb_vendor",
                                               port->usb_vendor, "usb_product", port->usb_product,
                                               "usb_serial", up_json_text(port->usb_serial),
                                               "manufacturer", up_json_text(port->manufacturer)));
    }
    return json;
}

static json_t *heard_to_json(const struct heard *heard) {
    json_t *json = json_pack("{s:I}", "bytes", (json_int_t)heard->length);
    if (heard->kind == UP_PORT_SERIAL) {
        json_object_set_new(json, "baud", json_integer(heard->settings.baud));
    }
    if (!heard->found) {
        json_object_set_new(json, "failure", up_json_text(heard->failure.text));
        return json;
    }
    json_object_update_new(
        json,
        json_pack("{s:I, s:I, s:I, s:o, s:o}", "lines", (json_int_t)heard->guess.lines, "fits",
                  (json_int_t)heard->guess.fits, "passed", (json_int_t)heard->guess.passed,
                  "layout", up_json_text(heard->guess.words), "rig", up_json_text(heard->rig)));
    return json;
}

/* ---- the command ---- */

struct ports {
    struct up_port *port;
    size_t count;
    json_t *json; /* NULL: words */
    const char *write;
    double seconds;
    bool alone; /* one port or file */
};

/* What --write and --json leave to do for one that was heard. */
static bool tell_heard(struct ports *ports, struct heard *heard, struct up_failure *failure) {
    bool good = true;
    if (heard->found) {
        write_rig(heard);
    }
    if (ports->json != NULL) {
        json_t *json = port_to_json(&heard->port);
        json_object_set_new(json, "heard", heard_to_json(heard));
        json_array_append_new(ports->json, json);
    } else {
        print_heard(heard, ports->alone);
    }
    if (heard->found && ports->write != NULL) {
        good = save_rig(ports->write, heard, failure);
        if (good && ports->json == NULL) {
            printf("  written to %s: look through it before you weigh\n", ports->write);
        }
        ports->write = NULL; /* one file, one rig */
    } else if (heard->found && ports->json == NULL) {
        printf("\n%s\n", heard->rig);
    }
    free(heard->rig);
    heard->rig = NULL;
    return good;
}

static bool listen_to_one(struct ports *ports, const struct up_port *port, const char *replay,
                          bool *found, struct up_failure *failure) {
    struct heard *heard = up_allocate(1, sizeof *heard);
    bool good;
    heard->port.usb_vendor = heard->port.usb_product = -1;
    if (replay != NULL) {
        hear_file(replay, heard);
    } else {
        heard->port = *port;
        hear_port(heard, ports->seconds);
    }
    *found = heard->found;
    if (!heard->found) {
        *failure = heard->failure;
    }
    good = tell_heard(ports, heard, failure);
    free(heard);
    return good;
}

static void find_port(const struct ports *ports, const char *path, struct up_port *port) {
    memset(port, 0, sizeof *port);
    port->usb_vendor = port->usb_product = -1;
    snprintf(port->name, sizeof port->name, "%s", path);
    for (size_t i = 0; i < ports->count; i++) {
        if (strcmp(ports->port[i].name, path) == 0) {
            *port = ports->port[i];
        }
    }
}

/* Every port is heard, whatever the one before said; with one named, its failure is ours. */
static bool listen_to_all(struct ports *ports, const char *path, const char *replay,
                          struct up_failure *failure) {
    size_t count = path != NULL || replay != NULL ? 1 : ports->count;
    bool any = false;
    ports->alone = count == 1;
    for (size_t i = 0; i < count && signalled == 0; i++) {
        struct up_port port;
        struct up_failure why = {0};
        bool found = false;
        find_port(ports, path != NULL ? path : replay == NULL ? ports->port[i].name : "", &port);
        if (!listen_to_one(ports, &port, replay, &found, &why)) {
            *failure = why;
            return false;
        }
        any = any || found;
        if (!found && count == 1) {
            *failure = why;
        }
    }
    return any || count != 1;
}

static void list_ports(const struct ports *ports) {
    for (size_t i = 0; i < ports->count; i++) {
        if (ports->json != NULL) {
            json_array_append_new(ports->json, port_to_json(&ports->port[i]));
        } else {
            print_port(&ports->port[i]);
        }
    }
    if (ports->count == 0 && ports->json == NULL) {
        puts("no serial port is here: plug the device in, or name a pseudo-terminal with --port");
    }
}

enum up_status command_ports(const struct arguments *arguments, struct up_failure *failure) {
    const char *replay = option_value(arguments, "replay");
    const char *path = option_value(arguments, "port");
    struct ports ports = {.seconds = 3, .write = option_value(arguments, "write")};
    bool listening = option_given(arguments, "listen");
    bool good = option_number(arguments, "seconds", 0.2, 600, &ports.seconds, failure);
    if (good && !listening && (replay != NULL || path != NULL || ports.write != NULL)) {
        good = up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--port, --replay and --write go with --listen");
    }
    if (good && replay != NULL && path != NULL) {
        good = up_fail(failure, UP_STATUS_WRONG_INPUT, "give --port or --replay, not both");
    }
    good = good && (replay != NULL || up_ports_list(&ports.port, &ports.count, failure));
    ports.json = option_given(arguments, "json") ? json_array() : NULL;
    catch_signals();
    if (good && (!listening || (ports.count == 0 && path == NULL && replay == NULL))) {
        list_ports(&ports);
    } else if (good) {
        good = listen_to_all(&ports, path, replay, failure);
    }
    if (ports.json != NULL && failure->text[0] == '\0') {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-ports-1", "ports", ports.json));
    }
    json_decref(ports.json);
    free(ports.port);
    die_of_signal();
    return good ? UP_STATUS_DONE : failure->status;
}
