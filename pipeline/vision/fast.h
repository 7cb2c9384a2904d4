// Layers that are faster than those of OpenCV 4.6. Only C++ includes this.
#ifndef OFFTYPE_FAST_H
#define OFFTYPE_FAST_H

namespace vis {

// Makes networks that are read from now on use them wherever they fit.
void fast_layers();

}  // namespace vis
#endif
