/* SPDX-License-Identifier: GPL-3.0-or-later */
/* ports: which serial ports there are, what each sends, and a rig file that reads it. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "session/probe.h"
#include "text/json.h"
#include "text/text.h"

const struct option_text options_ports[] = {
    {"listen", NULL, "open each port, try rates and layouts, and show what comes"},
    {"port", "PATH", "this one only; a pseudo-terminal too"},
    {"replay", "FILE", "with --listen: a file of recorded bytes instead of a port"},
    {"seconds", "S", "how long to listen at each rate (default 3)"},
    {"write", "FILE", "write the rig file that fits; an existing file is not changed"},
    OPTION_JSON,
    OPTION_END};

enum { SHOWN_LINES = 3 };

static bool put_text(FILE *stream, void *context) {
    return fputs(context, stream) != EOF;
}

static bool save_rig(const char *file, char *rig, struct up_failure *failure) {
    if (access(file, F_OK) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s already exists and is not changed: give --write another name", file);
    }
    return up_text_write_file(file, put_text, rig, failure);
}

/* ---- what is shown ---- */

static void print_port(const struct up_port *port) {
    up_text_print(stdout, "%-16s %-9s", port->name, up_transport_name(port->transport));
    if (port->usb_vendor >= 0) {
        up_text_print(stdout, " usb:%04x:%04x%s%s", (unsigned)port->usb_vendor,
                      (unsigned)port->usb_product, port->usb_serial[0] != '\0' ? ":" : "",
                      port->usb_serial);
    }
    up_text_print(stdout, "  %s%s%s\n", port->description,
                  port->manufacturer[0] != '\0' ? ", " : "", port->manufacturer);
}

/* What arrived, as it came: from the middle, since the first line is cut. */
static void print_sample(const struct up_probe *probe) {
    const char *end = probe->bytes + probe->length;
    const char *at = probe->bytes + probe->length / 2;
    for (int i = 0; i <= SHOWN_LINES && at < end; i++) {
        size_t length = 0;
        while (at + length < end && at[length] != '\n' && at[length] != '\r') {
            length++;
        }
        if (i > 0 && length > 0) {
            UP_FREED char *clean = up_text_clean(at, length < 76 ? length : 76);
            up_text_print(stdout, "    %s\n", clean);
        }
        i -= i > 0 && length == 0;
        at += length + 1;
    }
}

/* `alone`: its failure becomes the program's, and is printed there. */
static void print_probe(const struct up_probe *probe, bool alone) {
    static const char letter[] = {'N', 'E', 'O'};
    up_text_print(stdout, "%s", probe->port.name);
    if (probe->kind == UP_PORT_SERIAL && probe->length > 0) {
        printf(" at %d baud, %d%c%d", probe->settings.baud, probe->settings.data_bits,
               letter[probe->settings.parity], probe->settings.stop_bits);
    }
    printf(": %zu bytes\n", probe->length);
    print_sample(probe);
    if (probe->found) {
        up_text_print(stdout, "  %s; %llu of %llu lines fit\n", probe->guess.words,
                      (unsigned long long)probe->guess.fits,
                      (unsigned long long)(probe->guess.lines - probe->guess.passed));
    } else if (!alone) {
        up_text_print(stdout, "  %s\n", probe->failure.text);
    }
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

static json_t *probe_to_json(const struct up_probe *probe, const char *rig) {
    json_t *json = json_pack("{s:I}", "bytes", (json_int_t)probe->length);
    if (probe->kind == UP_PORT_SERIAL) {
        json_object_set_new(json, "baud", json_integer(probe->settings.baud));
    }
    if (!probe->found) {
        json_object_set_new(json, "failure", up_json_text(probe->failure.text));
        return json;
    }
    json_object_update_new(
        json,
        json_pack("{s:I, s:I, s:I, s:o, s:o}", "lines", (json_int_t)probe->guess.lines, "fits",
                  (json_int_t)probe->guess.fits, "passed", (json_int_t)probe->guess.passed,
                  "layout", up_json_text(probe->guess.words), "rig", up_json_text(rig)));
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
static bool show_probe(struct ports *ports, const struct up_probe *probe,
                       struct up_failure *failure) {
    UP_FREED char *rig = probe->found ? up_probe_rig(probe) : NULL;
    bool good = true;
    if (ports->json != NULL) {
        json_t *json = port_to_json(&probe->port);
        json_object_set_new(json, "heard", probe_to_json(probe, rig));
        json_array_append_new(ports->json, json);
    } else {
        print_probe(probe, ports->alone);
    }
    if (probe->found && ports->write != NULL) {
        good = save_rig(ports->write, rig, failure);
        if (good && ports->json == NULL) {
            up_text_print(stdout,
                          "  written to %s: complete what FILL IN marks in it; `upthrust "
                          "rig-check` names what is missing\n",
                          ports->write);
        }
        ports->write = NULL; /* one file, one rig */
    } else if (probe->found && ports->json == NULL) {
        printf("\n%s\n", rig);
    }
    return good;
}

static bool listen_to_one(struct ports *ports, const struct up_port *port, const char *replay,
                          bool *found, struct up_failure *failure) {
    UP_FREED struct up_probe *probe = up_allocate(1, sizeof *probe);
    probe->port = *port;
    *found = replay != NULL ? up_probe_recording(probe, replay)
                            : up_probe_port(probe, ports->seconds, &signalled);
    if (!*found) {
        *failure = probe->failure;
    }
    return show_probe(ports, probe, failure);
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

/* Every port is tried, whatever came of the one before; with one named, its failure is ours. */
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

bool command_ports(struct call *call) {
    const char *replay = option_value(call, "replay");
    const char *path = option_value(call, "port");
    struct ports ports = {.seconds = 3, .write = option_value(call, "write")};
    bool listening = option_given(call, "listen");
    bool good = option_number(call, "seconds", 0.2, 600, &ports.seconds);
    if (good && !listening && (replay != NULL || path != NULL || ports.write != NULL)) {
        good = refuse(call, "--port, --replay and --write need --listen");
    }
    if (good && replay != NULL && path != NULL) {
        good = refuse(call, "give --port or --replay, not both");
    }
    good = good && (replay != NULL || up_ports_list(&ports.port, &ports.count, call->failure));
    ports.json = option_given(call, "json") ? json_array() : NULL;
    catch_signals();
    if (good && (!listening || (ports.count == 0 && path == NULL && replay == NULL))) {
        list_ports(&ports);
    } else if (good) {
        good = listen_to_all(&ports, path, replay, call->failure);
    }
    if (ports.json != NULL && call->failure->text[0] == '\0') {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-ports-1", "ports", ports.json));
    }
    json_decref(ports.json);
    free(ports.port);
    die_of_signal();
    return good;
}
