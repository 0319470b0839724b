// A 525-line-family video source: field by field, half-line by half-line.
//
// Pulse widths are those of SMPTE 170M Tables 2 and 3 (references.md 1.2, 1.3): line sync 4.7 us, equalising 2.3 us,
// broad 27.1 us (BT.470 Table 1-2), six (3 H) of each; rounded to whole pixel clocks.
//
// The master clock runs at twice the pixel clock, so that half of an odd line length is a whole number of it.
// A field starts with its first broad pulse (O_V); a line starts with the leading edge of line sync (O_H).
`timescale 1ps / 1ps
module sd525 #(
  parameter integer MASTER_HALF_PS = 34921,
  parameter integer CLOCKS = 455,      // pixel clocks in a line = master clocks in half a line
  parameter integer LINES = 262,       // lines in a frame
  parameter integer INTERLACED = 0,    // 1: LINES is odd, two fields of LINES / 2 lines
  parameter integer ACTIVE_X = 92,     // first active pixel after O_H, pixels
  parameter integer ACTIVE_Y = 30,     // first active line after O_V, lines
  parameter integer WIDTH = 320,
  parameter integer HEIGHT = 200,      // active lines in one field
  parameter integer BITS = 6,
  parameter integer MODE = 0,
  parameter integer MOVING = 0,        // 1: every field has another picture
  parameter integer XOR_SYNC = 0,      // 1: composite sync is hsync xor vsync, not equalising and broad pulses
  parameter integer VSYNC_HALVES = 6,  // width of separate vertical sync, half-lines
  parameter integer RISING = 1,        // 1: the bus changes on the rising edge of the pixel clock
  parameter integer BUS_DELAY_PS = 0,  // from that edge to the bus (and display enable)
  parameter integer CPU_DIVIDER = 4,   // cpu clock = pixel clock / CPU_DIVIDER (even)
  parameter integer START_HALF = 390,  // half-line of the frame at which time starts
  parameter integer HSYNC_HIGH = 0,
  parameter integer VSYNC_HIGH = 0,
  parameter integer CSYNC_HIGH = 0,
  parameter integer ENABLE_HIGH = 1
) (
  input master,
  output reg pixel_clock, output reg subcarrier, output reg cpu_clock,
  output reg hsync, output reg vsync, output reg csync, output reg enable,
  output reg [BITS-1:0] colour,
  output integer field,                // counts O_V since time started
  output reg odd_field                 // 0: O_V coincides with line sync (field 1), 1: midway (field 2)
);
  `include "picture.vh"
  localparam integer HALVES = INTERLACED ? LINES : 2 * LINES;
  // 1e6 ps in a microsecond; the assignment to an integer rounds.
  localparam integer LINE_SYNC_PIXELS = 4.7e6 / (4 * MASTER_HALF_PS);
  localparam integer EQUALISING_PIXELS = 2.3e6 / (4 * MASTER_HALF_PS);
  localparam integer BROAD_PIXELS = 27.1e6 / (4 * MASTER_HALF_PS);
  localparam integer LINE_SYNC = 2 * LINE_SYNC_PIXELS;
  localparam integer EQUALISING = 2 * EQUALISING_PIXELS;
  localparam integer BROAD = 2 * BROAD_PIXELS;

  integer half = START_HALF;                // half-line in the frame
  integer in_field = START_HALF % HALVES;   // half-line in the field
  integer place = 0;                        // master clock in the half-line
  integer in_line = 0;                      // master clock in the line
  integer pulse = 0;                        // width of this half-line's pulse in composite sync
  integer pixels = 0, x = 0, row = -1, salt = 0;
  initial begin
    field = -1;
    odd_field = START_HALF >= HALVES;
    subcarrier = 0;
    colour = blanking_code(MODE);
    enable = !ENABLE_HIGH;
  end

  always @(posedge master) begin
    if (place == 0) begin
      if (in_field == 0) begin
        field = field + 1;
        odd_field = half >= HALVES;
        salt = MOVING ? field + 2 : 0;
      end
      if (in_field < 6) pulse = BROAD;
      else if (in_field < 12 || in_field >= HALVES - 6) pulse = EQUALISING;
      else pulse = (half % 2 == 0) ? LINE_SYNC : 0;
      vsync <= (in_field < VSYNC_HALVES) ? VSYNC_HIGH : !VSYNC_HIGH;
      if (half % 2 == 0) begin
        in_line = 0;
        x = -ACTIVE_X;
        // In field 2 the lines lie half a line earlier after O_V: its first line is the top one (170M Fig. 7:
        // line 284 comes 17.5 H after O_V, line 22 comes 18 H after).
        row = (in_field + odd_field) / 2 - ACTIVE_Y;
      end
    end
    if (XOR_SYNC) csync <= (in_line < LINE_SYNC) ^ (in_field < VSYNC_HALVES) ^ !CSYNC_HIGH;
    else csync <= (place < pulse) ? CSYNC_HIGH : !CSYNC_HIGH;
    if (in_line == 0) hsync <= HSYNC_HIGH;
    if (in_line == LINE_SYNC) hsync <= !HSYNC_HIGH;

    if (in_line % 2 == 0) begin
      pixel_clock <= RISING;
      subcarrier <= ~subcarrier;
      cpu_clock <= pixels < CPU_DIVIDER / 2;
      pixels = (pixels == CPU_DIVIDER - 1) ? 0 : pixels + 1;
      if (x >= 0 && x < WIDTH && row >= 0 && row < HEIGHT) begin
        enable <= #(BUS_DELAY_PS) ENABLE_HIGH;
        colour <= #(BUS_DELAY_PS) picture_code(
          x, INTERLACED ? 2 * row + !odd_field : row, WIDTH, INTERLACED ? 2 * HEIGHT : HEIGHT, BITS, MODE, salt);
      end else if (x == WIDTH) begin
        enable <= #(BUS_DELAY_PS) !ENABLE_HIGH;
        colour <= #(BUS_DELAY_PS) blanking_code(MODE);
      end
      x = x + 1;
    end else pixel_clock <= !RISING;

    in_line = in_line + 1;
    place = place + 1;
    if (place == CLOCKS) begin
      place = 0;
      half = (half + 1 == 2 * LINES) ? 0 : half + 1;
      in_field = (half >= HALVES) ? half - HALVES : half;
    end
  end
endmodule
