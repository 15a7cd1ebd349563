/* A bench I/O node for Linux, written from the text of scenarios/rigs/bench-node.dbc and nothing else: a node that anybody might build.
 *
 *     cc -O2 -static -o bench-node node.c
 *     ./bench-node can1 other -seed 3 pipe
 *
 * It drives no hardware: a program of its choice plays the plant. That is started with its standard input and output on pipes. Every
 * 10 ms the node writes one line
 *     NS DRIVE DUTY RETURN SHUT HEATER POWER VENT TARE WHAT
 * (time since the start; percent, percent; 0 or 1 six times; 1 hydraulics + 2 electrics + 4 scale + 8 ambient) and reads one line with the
 * numbers of the groups it asked for. On a bench, plant_ask() is where the converters and the outputs belong.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <linux/can.h>
#include <linux/can/raw.h>
#include <math.h>
#include <net/if.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

/* The identifiers of the DBC; bit 31 there, and here, says 29 bits. */
#define OUTPUTS 2365526265u
#define HYDRAULICS 2365526472u
#define ELECTRICS 2365526728u
#define SCALE 2365526984u
#define AMBIENT 2566853832u

enum { TICK_MS = 10, TIMEOUT_MS = 200, GOOD_MESSAGES = 5 };

/* What the harness may command, in percent and as 0 or 1. */
struct outputs {
	double drive, duty;
	int back, shut, heater, power, vent, tare;
};

static struct outputs out;
static int enabled, in_a_row, last_counter = -1;
static int64_t heard_ms = INT64_MIN / 2;
static volatile sig_atomic_t stop;

static void on_signal(int s) { (void)s; stop = 1; }

static int64_t now_ns(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1000000000LL + t.tv_nsec;
}

static void die(const char *what)
{
	perror(what);
	exit(1);
}

/* The safe state of the comment on BenchOutputs. It does not name the unit's power: that stays. */
static void safe_state(void)
{
	int power = out.power;
	memset(&out, 0, sizeof out);
	out.power = power;
	enabled = in_a_row = 0;
}

static unsigned u16(const uint8_t *d) { return d[0] | d[1] << 8; }

/* Two bits: 0 and 1 are commands, 2 is an error, 3 no change. */
static void two_bits(int *to, unsigned field)
{
	field &= 3;
	if (field < 2)
		*to = (int)field;
}

/* hear takes one BenchOutputs message. A command out of its range, or a counter that stands still, is not a good message. */
static void hear(const struct can_frame *f, int64_t ms)
{
	const uint8_t *d = f->data;
	if (f->can_id != OUTPUTS)
		return;
	if (f->can_dlc < 8 || (d[7] & 15) == last_counter || (u16(d) > 10000 && u16(d) < 0xff00) ||
	    (u16(d + 2) > 10000 && u16(d + 2) < 0xff00)) {
		in_a_row = 0;
		return;
	}
	last_counter = d[7] & 15;
	if (ms - heard_ms > TIMEOUT_MS)
		in_a_row = 0;
	heard_ms = ms;
	if (++in_a_row >= GOOD_MESSAGES)
		enabled = 1;
	if (!enabled)
		return;
	if (u16(d) <= 10000)
		out.drive = u16(d) * 0.01;
	if (u16(d + 2) <= 10000)
		out.duty = u16(d + 2) * 0.01;
	two_bits(&out.back, d[4]);
	two_bits(&out.shut, d[4] >> 2);
	two_bits(&out.heater, d[4] >> 4);
	two_bits(&out.power, d[4] >> 6);
	two_bits(&out.vent, d[5]);
	two_bits(&out.tare, d[5] >> 2);
}

/* put16 writes a signal of 16 bits; a reading that is none is J1939's error indicator. */
static void put16(uint8_t *d, double value, double factor, double offset)
{
	unsigned raw = 0xfe00;
	if (!isnan(value)) {
		double r = (value - offset) / factor + 0.5;
		raw = r < 0 ? 0 : r > 64255 ? 64255 : (unsigned)r;
	}
	d[0] = raw & 0xff;
	d[1] = raw >> 8;
}

static void send_frame(int can, uint32_t id, const uint8_t *data)
{
	struct can_frame f;
	memset(&f, 0, sizeof f);
	f.can_id = id;
	f.can_dlc = 8;
	memcpy(f.data, data, 8);
	if (write(can, &f, sizeof f) != sizeof f && errno != ENOBUFS && errno != EAGAIN && errno != ENETDOWN)
		die("send");
}

/* plant_ask puts the outputs on and fetches readings. Returns how many there were. */
static int plant_ask(FILE *to, FILE *from, int64_t ns, int what, double *v, int most)
{
	char line[512], *at = line, *end;
	int n = 0;
	fprintf(to, "%lld %.2f %.2f %d %d %d %d %d %d %d\n", (long long)ns, out.drive, out.duty, out.back, out.shut, out.heater,
		out.power, out.vent, out.tare, what);
	fflush(to);
	if (!fgets(line, sizeof line, from))
		return -1;
	for (; n < most; n++, at = end) {
		v[n] = strtod(at, &end);
		if (end == at)
			break;
	}
	return n;
}

static void pack_scale(const double *v, uint8_t *d)
{
	double r = (v[0] + 1000) / 0.01 + 0.5;
	unsigned long raw = r < 0 ? 0 : (unsigned long)r;
	d[0] = raw & 0xff;
	d[1] = raw >> 8 & 0xff;
	d[2] = raw >> 16 & 0xff;
	put16(d + 3, v[1], 0.001, 0);
	put16(d + 5, v[2], 0.001, 0);
	/* no emergency stop, guard closed, what the shut-off says, whether we obey */
	d[7] = 0 | 1 << 2 | (v[3] > 0.5) << 4 | enabled << 6;
}

static void send_readings(int can, int what, const double *v)
{
	static const double fh[] = {0.05, 0.05, 0.01, 0.125}, fa[] = {0.03125, 0.03125, 0.01, 0.1}, oa[] = {-273, -273, 0, 0};
	uint8_t d[8];
	int i;
	if (what & 1) {
		for (i = 0; i < 4; i++)
			put16(d + 2 * i, *v++, fh[i], 0);
		send_frame(can, HYDRAULICS, d);
	}
	if (what & 2) {
		for (i = 0; i < 4; i++)
			put16(d + 2 * i, *v++, 0.001, 0);
		send_frame(can, ELECTRICS, d);
	}
	if (what & 4) {
		pack_scale(v, d);
		v += 4;
		send_frame(can, SCALE, d);
	}
	if (what & 8) {
		for (i = 0; i < 4; i++)
			put16(d + 2 * i, *v++, fa[i], oa[i]);
		send_frame(can, AMBIENT, d);
	}
}

static int open_can(const char *name)
{
	struct sockaddr_can a = {.can_family = AF_CAN};
	struct can_filter only = {.can_id = OUTPUTS, .can_mask = CAN_EFF_FLAG | CAN_RTR_FLAG | CAN_EFF_MASK};
	int s = socket(PF_CAN, SOCK_RAW | SOCK_NONBLOCK, CAN_RAW);
	if (s < 0)
		die("socket");
	a.can_ifindex = (int)if_nametoindex(name);
	if (!a.can_ifindex)
		die(name);
	if (setsockopt(s, SOL_CAN_RAW, CAN_RAW_FILTER, &only, sizeof only) || bind(s, (struct sockaddr *)&a, sizeof a))
		die("bind");
	return s;
}

static pid_t start_plant(char **argv, FILE **to, FILE **from)
{
	int down[2], up[2];
	if (pipe2(down, O_CLOEXEC) || pipe2(up, O_CLOEXEC))
		die("pipe");
	pid_t child = fork();
	if (child < 0)
		die("fork");
	if (child == 0) {
		dup2(down[0], 0);
		dup2(up[1], 1);
		execvp(argv[0], argv);
		die(argv[0]);
	}
	close(down[0]);
	close(up[1]);
	*to = fdopen(down[1], "w");
	*from = fdopen(up[0], "r");
	return child;
}

/* once is one tick: hear, time out, ask, send. The slower messages never come in the same tick as each other. */
static int once(int can, FILE *to, FILE *from, long tick, int64_t start)
{
	struct can_frame f;
	double v[16];
	while (read(can, &f, sizeof f) == sizeof f)
		hear(&f, now_ns() / 1000000);
	if (enabled && now_ns() / 1000000 - heard_ms >= TIMEOUT_MS)
		safe_state();
	int what = 1;
	if (tick % 2 == 0)
		what |= 2;
	if (tick % 10 == 3)
		what |= 4;
	if (tick % 100 == 7)
		what |= 8;
	int want = 4 * __builtin_popcount((unsigned)what);
	if (plant_ask(to, from, now_ns() - start, what, v, 16) != want) {
		fprintf(stderr, "bench-node: the plant does not answer\n");
		return 1;
	}
	send_readings(can, what, v);
	return 0;
}

int main(int argc, char **argv)
{
	FILE *to, *from;
	int failed = 0, status;
	if (argc < 3) {
		fprintf(stderr, "usage: bench-node INTERFACE PLANT [ARGUMENT...]\n");
		return 2;
	}
	signal(SIGINT, on_signal);
	signal(SIGTERM, on_signal);
	signal(SIGPIPE, SIG_IGN);
	int can = open_can(argv[1]);
	pid_t plant = start_plant(argv + 2, &to, &from);
	int64_t start = now_ns(), next = start;
	for (long tick = 0; !stop && !failed; tick++) {
		failed = once(can, to, from, tick, start);
		next += TICK_MS * 1000000LL;
		if (next < now_ns()) /* late: do not hurry after it, a burst helps nobody */
			next = now_ns();
		struct timespec at = {.tv_sec = next / 1000000000LL, .tv_nsec = next % 1000000000LL};
		clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, NULL);
	}
	fclose(to); /* the plant ends with its input */
	waitpid(plant, &status, 0);
	return failed;
}
