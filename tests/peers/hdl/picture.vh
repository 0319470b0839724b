// The pictures that the Verilog sources show, as pure functions of the place in the frame; included in a module.
localparam integer NOISE = 0;             // pseudo-random codes inside a one-pixel frame of all ones
localparam integer BARS = 1;              // BT.601 100/0/100/0 bars as R'G'B' (references.md 3.2), no frame
localparam integer BARS_COMPONENT = 2;    // the same as Y'CbCr, 8 bits each, packed Y Cb Cr

function [31:0] noise_code(input [31:0] x, input [31:0] y, input [31:0] salt);
  reg [31:0] mixed;
  begin
    mixed = x * 32'd374761393 + y * 32'd668265263 + salt * 32'd2246822519;
    mixed = (mixed ^ (mixed >> 13)) * 32'd1274126177;
    noise_code = mixed ^ (mixed >> 16);
  end
endfunction

// White, yellow, cyan, green, magenta, red, blue, black.
function [31:0] bar_code(input [2:0] bar, input integer bits);
  reg [31:0] full;
  begin
    full = (32'd1 << (bits / 3)) - 1;
    bar_code = (bar[1] ? 0 : full << (2 * (bits / 3))) | (bar[2] ? 0 : full << (bits / 3)) | (bar[0] ? 0 : full);
    if (bits == 4 && bar_code != 0) bar_code = bar_code | 8;  // RGBI: full brightness sets the intensity bit
  end
endfunction

// The codes of references.md 3.2.
function [31:0] component_code(input [2:0] bar);
  case (bar)
    0: component_code = {8'd0, 8'd235, 8'd128, 8'd128};
    1: component_code = {8'd0, 8'd210, 8'd16, 8'd146};
    2: component_code = {8'd0, 8'd170, 8'd166, 8'd16};
    3: component_code = {8'd0, 8'd145, 8'd54, 8'd34};
    4: component_code = {8'd0, 8'd106, 8'd202, 8'd222};
    5: component_code = {8'd0, 8'd81, 8'd90, 8'd240};
    6: component_code = {8'd0, 8'd41, 8'd240, 8'd110};
    7: component_code = {8'd0, 8'd16, 8'd128, 8'd128};
  endcase
endfunction

function [31:0] blanking_code(input integer mode);
  blanking_code = (mode == BARS_COMPONENT) ? {8'd0, 8'd16, 8'd128, 8'd128} : 0;
endfunction

// Colour code of pixel (x, y); y counts frame lines, salt makes one picture differ from the next.
function [31:0] picture_code(
  input integer x, input integer y, input integer width, input integer height,
  input integer bits, input integer mode, input integer salt
);
  case (mode)
    BARS: picture_code = bar_code(8 * x / width, bits);
    BARS_COMPONENT: picture_code = component_code(8 * x / width);
    default:
      if (x == 0 || y == 0 || x == width - 1 || y == height - 1) picture_code = ~(32'hffffffff << bits);
      else picture_code = noise_code(x, y, salt) & ~(32'hffffffff << bits);
  endcase
endfunction
