"""The flank network: a small U-Net from a photo to dense flank coordinates.

Input: 3 x H x W sRGB in 0 … 1, H and W multiples of 32. Output at a quarter of the size, 10 planes: four class scores (other, gear, convex flank,
concave flank), length, height, contact score, compound score, and the logarithms of the errors to be expected of length and height.
"""
import torch
from torch import nn
import torch.nn.functional as F

STRIDE, WIDTHS = 4, [24, 32, 56, 112, 160]              # at 1/4, 1/4, 1/8, 1/16, 1/32 of the input's size
KERNELS = {2: 5, 4: 7}     # of the first layer, by its stride
# the patch networks', which see flattened flanks one under the other and say two planes: contact and compound; the second is for maps of twice the size
PATCH_STRIDE, PATCH_WIDTHS, FINE_PATCH_WIDTHS = 2, [16, 16, 32, 56, 80], [12, 16, 24, 40, 64, 96]
# the outline network's, which sees one flank with a margin and says seven planes: other, gear, this flank; length, height; the logarithms of their errors
OUTLINE_WIDTHS = [16, 24, 40, 64, 96]


class Pair(nn.Module):
    def __init__(self, a, b):
        super().__init__()
        self.c1, self.n1 = nn.Conv2d(a, b, 3, padding=1, bias=False), nn.BatchNorm2d(b)
        self.c2, self.n2 = nn.Conv2d(b, b, 3, padding=1, bias=False), nn.BatchNorm2d(b)

    def forward(self, x):
        x = F.relu(self.n1(self.c1(x)))
        return F.relu(self.n2(self.c2(x)))


class FlankNet(nn.Module):
    def __init__(self, stride=STRIDE, widths=WIDTHS, planes=10):
        super().__init__()
        w, levels = widths, len(widths) - 1
        kernel = KERNELS[stride]
        self.stem, self.stem_n = nn.Conv2d(3, w[0], kernel, stride=stride, padding=kernel // 2, bias=False), nn.BatchNorm2d(w[0])
        self.down = nn.ModuleList([Pair(w[i], w[i + 1]) for i in range(levels)])
        self.deep = Pair(w[levels], w[levels])
        self.lift = nn.ModuleList([nn.Conv2d(w[i + 1], w[i], 1) for i in range(1, levels)])
        self.up = nn.ModuleList([Pair(w[i], w[i]) for i in range(1, levels)])
        self.head = nn.Conv2d(w[1], planes, 1)

    def forward(self, x):
        x = F.relu(self.stem_n(self.stem(x)))
        skips = []
        for i, d in enumerate(self.down):
            x = d(x if i == 0 else F.max_pool2d(x, 2))
            skips.append(x)
        x = self.deep(x)
        for i in reversed(range(len(self.lift))):
            x = self.up[i](skips[i] + F.interpolate(self.lift[i](x), scale_factor=2, mode="nearest"))
        return self.head(x)

    def take(self, state):
        """Weights of an earlier run. Of one that had a finer level above, which had half the stride, the levels below it are taken and all that
        touched it stays as it is."""
        if any(k.startswith("down.%d." % len(self.down)) for k in state):
            own = self.state_dict()
            for k, v in state.items():
                name, level, rest = (k.split(".", 2) + ["", ""])[:3]
                if name in ("down", "lift", "up"):
                    k = "%s.%d.%s" % (name, int(level) - 1, rest)
                if k in own and own[k].shape == v.shape:
                    own[k] = v
            state = own
        self.load_state_dict(state)

    @torch.no_grad()
    def take_exported(self, layers, x):
        """Weights and biases that export.py wrote, in its order. Their batch normalisation was folded away: it is put back so that it changes nothing
        over the pictures x, and training goes on from the same output."""
        pair = lambda p: [(p.c1, p.n1), (p.c2, p.n2)]
        places = [(self.stem, self.stem_n)]
        for p in [*self.down, self.deep]:
            places += pair(p)
        for lift, up in zip(reversed(self.lift), reversed(self.up)):
            places += [(lift, None), *pair(up)]
        undo = []
        for (conv, norm), (weight, bias) in zip([*places, (self.head, None)], layers, strict=True):
            conv.weight.copy_(torch.from_numpy(weight))
            (norm or conv).bias.copy_(torch.from_numpy(bias))
            if norm:
                undo.append(norm.register_forward_pre_hook(unfold))
        self.eval()(x)
        for hook in undo:
            hook.remove()
        self.train()


def unfold(norm, inputs):
    """Makes a batch normalisation add only its bias to what comes in now: means and deviations taken away are given back."""
    var, mean = torch.var_mean(inputs[0], (0, 2, 3), correction=0)
    norm.running_mean.copy_(mean)
    norm.running_var.copy_(var)
    norm.weight.copy_(torch.sqrt(var + norm.eps))
    norm.bias.add_(mean)
