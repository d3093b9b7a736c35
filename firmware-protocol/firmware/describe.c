#include "describe.h"

#include "board.h"
#include "line.h"
#include "memory.h"
#include "safety.h"
#include "uart.h"

#define EXTENSION_NAMES "rail,echo,watch,health,calibration,signals"

static const char causes[][10] PROGMEM = {"power-on", "brown-out", "watchdog", "button", "unknown"};
/* The unit of each analog input (LINE-91). */
static const char units[][7] PROGMEM = {"-mv", "-ma", "-pa", "-mdegc", "-mdegc"};

static void describe_calibration(void) {
    for (uint8_t i = 0; i < ANALOG_INPUTS; i++) {
        struct scale scale = analog_scale(i);
        write_char(' ');
        write_text(inputs[i]);
        write_text(PSTR("-zero"));
        write_text(units[i]);
        write_char('=');
        write_signed(scale.zero);
        write_char(' ');
        write_text(inputs[i]);
        write_text(PSTR("-full"));
        write_text(units[i]);
        write_char('=');
        write_signed(scale.full);
    }
    write_field(PSTR(" stored="), memory_calibration() == CALIBRATION_STORED);
}

void describe_topic(enum topic topic, uint32_t starts) {
    write_text(PSTR(" topic="));
    write_text(topics[topic]);
    switch (topic) {
        case TIMING_TOPIC:
            write_field(PSTR(" tick-ns="), TICK_NS);
            write_field(PSTR(" min-width-ns="), MIN_WIDTH_NS);
            write_field(PSTR(" max-width-ns="), MAX_WIDTH_NS);
            write_field(PSTR(" min-period-us="), MIN_PERIOD_US);
            write_field(PSTR(" max-period-us="), MAX_PERIOD_US);
            write_field(PSTR(" max-count="), MAX_COUNT);
            break;
        case SUPPLY_TOPIC:
            write_field(PSTR(" min-mv="), MIN_SUPPLY_MV);
            write_field(PSTR(" max-mv="), MAX_SUPPLY_MV);
            write_field(PSTR(" safe-mv="), SAFE_SUPPLY_MV);
            break;
        case PRESSURE_TOPIC:
            write_field(PSTR(" commandable="), PRESSURE_COMMANDABLE);
            write_field(PSTR(" min-pa="), PRESSURE_COMMANDABLE ? MIN_PRESSURE_PA : 0);
            write_field(PSTR(" max-pa="), PRESSURE_COMMANDABLE ? MAX_PRESSURE_PA : 0);
            break;
        case EXTENSIONS_TOPIC:
            write_text(PSTR(" extensions=" EXTENSION_NAMES));
            break;
        case RAIL_TOPIC:
            write_field(PSTR(" pump="), HAS_PUMP);
            write_field(PSTR(" relief="), HAS_RELIEF);
            write_field(PSTR(" shut-off="), HAS_SHUT_OFF);
            break;
        case WATCH_TOPIC:
            write_field(PSTR(" idle-ma="), IDLE_MA);
            write_field(PSTR(" idle-edges="), IDLE_EDGES);
            write_field(PSTR(" idle-ms="), IDLE_MS);
            write_field(PSTR(" frozen-ms="), FROZEN_MS);
            write_field(PSTR(" sensor-low-permille="), SENSOR_LOW_PERMILLE);
            write_field(PSTR(" sensor-high-permille="), SENSOR_HIGH_PERMILLE);
            write_field(PSTR(" meter-max-hz="), METER_MAX_HZ);
            break;
        case HEALTH_TOPIC:
            write_field(PSTR(" bad-lines="), line_bad());
            write_field(PSTR(" byte-errors="), uart_errors());
            write_field(PSTR(" starts="), starts);
            write_text(PSTR(" cause="));
            write_text(causes[memory_reset_cause()]);
            write_field(PSTR(" stack-free="), memory_stack_free());
            break;
        case CALIBRATION_TOPIC:
            describe_calibration();
            break;
        default:
            write_field(PSTR(" deadman-min-ms="), DEADMAN_MIN_MS);
            write_field(PSTR(" deadman-max-ms="), DEADMAN_MAX_MS);
            write_field(PSTR(" telemetry-max-hz="), TELEMETRY_MAX_HZ);
            write_field(PSTR(" trip-ma="), TRIP_MA);
            write_field(PSTR(" trip-pa="), TRIP_PA);
            write_field(PSTR(" trip-mdegc="), TRIP_MDEGC);
            write_text(PSTR(" interlocks=" INTERLOCK_NAMES));
            break;
    }
}
