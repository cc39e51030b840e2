/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "numbered_line.h"

char *numbered_line_whole(char *at, uint32_t value) {
    static const uint32_t power[] = {1000000000, 100000000, 10000000, 1000000, 100000,
                                     10000,      1000,      100,      10,      1};
    uint8_t first = 0;
    while (first < 9 && value < power[first]) {
        first++;
    }
    for (uint8_t i = first; i < 10; i++) {
        char digit = '0';
        while (value >= power[i]) {
            value -= power[i];
            digit++;
        }
        *at++ = digit;
    }
    return at;
}

static char *put_sign(char *at, int32_t value, uint32_t *magnitude) {
    *magnitude = value < 0 ? 0u - (uint32_t)value : (uint32_t)value;
    if (value < 0) {
        *at++ = '-';
    }
    return at;
}

char *numbered_line_hundredths(char *at, int16_t value) {
    uint32_t magnitude;
    at = put_sign(at, value, &magnitude);
    uint16_t hundredths = (uint16_t)magnitude;
    at = numbered_line_whole(at, hundredths / 100);
    *at++ = '.';
    *at++ = (char)('0' + hundredths / 10 % 10);
    *at++ = (char)('0' + hundredths % 10);
    return at;
}

/* CRC-16, polynomial 0x1021, start 0xFFFF, neither reflected nor inverted: 0x29B1 for 123456789.
   Eight bits at once: x^12 + x^5 + 1 feeds the upper half of a byte back into its lower one. */
static uint16_t crc16(const char *from, const char *to) {
    uint16_t crc = 0xFFFF;
    for (; from < to; from++) {
        uint8_t high = (uint8_t)((uint8_t)(crc >> 8) ^ (uint8_t)*from);
        high = (uint8_t)(high ^ (high >> 4));
        crc = (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)high << 12) ^
                         (uint16_t)((uint16_t)high << 5) ^ high);
    }
    return crc;
}

size_t numbered_line_seal(char *line, char *end) {
    static const char hex[] = "0123456789ABCDEF";
    uint16_t crc = crc16(line, end);
    *end++ = '*';
    for (int8_t shift = 12; shift >= 0; shift = (int8_t)(shift - 4)) {
        *end++ = hex[(crc >> shift) & 15];
    }
    *end++ = '\r';
    *end++ = '\n';
    *end = '\0';
    return (size_t)(end - line);
}

size_t numbered_line(char *line, uint16_t sequence, uint32_t time_ms, int32_t counts,
                     int16_t temp_centi_c) {
    uint32_t magnitude;
    char *at = numbered_line_whole(line, sequence);
    *at++ = ',';
    at = numbered_line_whole(at, time_ms);
    *at++ = ',';
    at = put_sign(at, counts, &magnitude);
    at = numbered_line_whole(at, magnitude);
    *at++ = ',';
    if (temp_centi_c != NUMBERED_LINE_NO_TEMP) {
        at = numbered_line_hundredths(at, temp_centi_c);
    }
    return numbered_line_seal(line, at);
}
