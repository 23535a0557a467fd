"""What stands between a scene and a photo of it, on the card and in batches: the part of it that is shown, things near the lens, lens and camera, the
program that made it pretty, the messenger that sent it on."""
import numpy as np
from training import DEV, rand      # chooses the card: before torch
import torch
import torch.nn.functional as F

DCT = torch.tensor([[np.sqrt((1 if k else 0.5) / 4) * np.cos((2 * i + 1) * k * np.pi / 16) for i in range(8)] for k in range(8)], dtype=torch.float32)
QUANT = torch.tensor([[16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55], [14, 13, 16, 24, 40, 57, 69, 56], [14, 17, 22, 29, 51, 87, 80, 62],
                      [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92], [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99]], dtype=torch.float32)


def some(n, share, x, other):
    """x in so many of the batch's pictures, `other` in the rest."""
    return torch.where(torch.rand(n, 1, 1, 1, device=DEV) < share, x, other)


def blur(x, sigma):
    k = torch.arange(-4, 5, device=DEV, dtype=torch.float32)[None, :]
    g = torch.exp(-k ** 2 / (2 * sigma.view(-1, 1) ** 2)); g = g / g.sum(1, keepdim=True)
    n, c, h, w = x.shape
    y = F.conv2d(F.pad(x.reshape(1, n * c, h, w), (4, 4, 0, 0), mode="reflect"), g.repeat_interleave(c, 0).view(n * c, 1, 1, 9), groups=n * c)
    y = F.conv2d(F.pad(y, (0, 0, 4, 4), mode="reflect"), g.repeat_interleave(c, 0).view(n * c, 1, 9, 1), groups=n * c)
    return y.reshape(n, c, h, w)


def surroundings(x, cells):
    """The mean of each place's wide surroundings."""
    small = F.avg_pool2d(x, cells)
    small = F.avg_pool2d(F.pad(small, (1, 1, 1, 1), mode="replicate"), 3, 1)
    return F.interpolate(small, size=x.shape[2:], mode="bilinear", align_corners=False)


def jpeg(x, strength):
    """Quantises 8 x 8 blocks with the luminance table of ITU-T T.81 Annex K, scaled."""
    n, c, h, w = x.shape
    D = DCT.to(DEV)
    b = x.view(n, c, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5)
    q = D @ b @ D.T
    s = QUANT.to(DEV) / 255 * strength.view(-1, 1, 1, 1, 1, 1)
    b = D.T @ (torch.round(q / s) * s) @ D
    return b.permute(0, 1, 2, 4, 3, 5).reshape(n, c, h, w)


def places(h, w):
    """Row and column of every place, in shares of the longer side."""
    return torch.meshgrid(torch.arange(h, device=DEV) / max(h, w), torch.arange(w, device=DEV) / max(h, w), indexing="ij")


def side_of_a_circle(n, gy, gx, through, towards):
    """How far inside a circle of any size each place lies, negative outside, in shares of the longer side; its edge goes through a place of each
    picture, across the direction given."""
    size = torch.exp(rand(n, *np.log((0.3, 5.0)))).view(n, 1, 1)
    x, y = (through + towards * size.view(n, 1)).view(n, 2, 1, 1).unbind(1)
    return size - torch.sqrt((gx - x) ** 2 + (gy - y) ** 2)


def any_direction(n):
    angle = torch.rand(n, device=DEV) * 6.2832
    return torch.stack([torch.cos(angle), torch.sin(angle)], 1)


def along_the_flanks(weight, length, gy, gx, through):
    """The direction in which the flanks' length grows about a place of each picture."""
    near = weight * torch.exp(-((gx - through[:, 0].view(-1, 1, 1)) ** 2 + (gy - through[:, 1].view(-1, 1, 1)) ** 2) / 0.02) + 1e-9
    near = near / near.sum((1, 2), keepdim=True)
    mean = lambda f: (near * f).sum((1, 2), keepdim=True)
    off = length - mean(length)
    g = torch.stack([mean(off * (gx - mean(gx.expand_as(near)))), mean(off * (gy - mean(gy.expand_as(near))))], 1).view(-1, 2)
    return g / g.norm(dim=1, keepdim=True).clamp_min(1e-9)


def things_near_the_lens(x, flank, length, stride):
    """A housing's edge, a cap, a hand out of focus: plain, grainy, over all on one side of a curve, mostly across the flanks. Also where they hide the
    places of a map that many times as coarse. `flank` and `length` are such maps."""
    n, _, h, w = x.shape
    gy, gx = places(h, w)
    cy, cx = gy[stride // 2::stride, stride // 2::stride], gx[stride // 2::stride, stride // 2::stride]
    weight = flank.float()
    pick = torch.multinomial(weight.flatten(1) + 1e-6, 1)[:, 0]
    through = torch.stack([cx.flatten()[pick], cy.flatten()[pick]], 1)
    towards = torch.where(torch.rand(n, 1, device=DEV) < 0.65, along_the_flanks(weight, length, cy, cx, through) + 0.3 * torch.randn(n, 2, device=DEV), any_direction(n))
    towards = towards / towards.norm(dim=1, keepdim=True).clamp_min(1e-6) * torch.where(torch.rand(n, 1, device=DEV) < 0.5, 1.0, -1.0)
    inside = side_of_a_circle(n, gy, gx, through, towards)
    inside = inside * torch.where(torch.rand(n, 1, 1, device=DEV) < 0.5, 1.0, -1.0)
    # what covers most of the flanks leaves nothing to learn from
    covered = ((inside[:, stride // 2::stride, stride // 2::stride] > 0) & flank).flatten(1).sum(1) / flank.flatten(1).sum(1).clamp_min(1)
    inside = torch.where((covered > 0.5).view(n, 1, 1), -inside, inside)
    inside = torch.where(torch.rand(n, 1, 1, device=DEV) < 0.25, inside, torch.full_like(inside, -1.0))
    soft = torch.exp(rand(n, *np.log((0.3, 5.0)))).view(n, 1, 1) / max(h, w)
    mask = torch.sigmoid(inside / soft * 2.5)[:, None]
    grey = rand(n, 0.01, 0.35).expand(n, 3, 1, 1) * (1 + 0.1 * torch.randn(n, 3, 1, 1, device=DEV))
    skin = torch.tensor([0.5, 0.3, 0.2], device=DEV).view(1, 3, 1, 1) * rand(n, 0.3, 1.3)
    colour = some(n, 0.6, grey, some(n, 0.4, skin, torch.rand(n, 3, 1, 1, device=DEV) ** 2))
    coarse = F.interpolate(torch.randn(n, 1, h // 16, w // 16, device=DEV), size=(h, w), mode="bilinear", align_corners=False)
    ramp = (gx * torch.randn(n, 1, 1, device=DEV) + gy * torch.randn(n, 1, 1, device=DEV))[:, None]
    thing = colour * (1 + rand(n, 0, 0.3) * coarse + rand(n, 0, 0.25) * torch.randn(n, 1, h, w, device=DEV) + 0.6 * ramp).clamp(0.1, 2.5)
    return torch.lerp(x, thing, mask), mask[:, 0, stride // 2::stride, stride // 2::stride] > 0.5


def plain_patches(x, lost, stride):
    """Small plain things in the way."""
    n, _, h, w = x.shape
    gy, gx = torch.meshgrid(torch.arange(h, device=DEV) / h, torch.arange(w, device=DEV) / w, indexing="ij")
    for _ in range(2):
        cx, cy, r1, r2, a = [torch.rand(n, 1, 1, device=DEV) for _ in range(5)]
        dx, dy = gx - cx, gy - cy
        p, q = dx * torch.cos(a * 6.28) + dy * torch.sin(a * 6.28), dy * torch.cos(a * 6.28) - dx * torch.sin(a * 6.28)
        hole = (p.abs() < 0.02 + 0.08 * r1) & (q.abs() < 0.02 + 0.4 * r2) & (torch.rand(n, 1, 1, device=DEV) < 0.12)
        x = torch.where(hole[:, None], torch.rand(n, 3, 1, 1, device=DEV) * 0.8 + x * 0.2, x)
        lost = lost | hole[:, stride // 2::stride, stride // 2::stride]
    return x, lost


def lens(x):
    """Light that is still linear: colour of the light, shade, vignette, haze, blur."""
    n, _, h, w = x.shape
    x = x * (1 + torch.randn(n, 3, 1, 1, device=DEV) * 0.10)
    gy, gx = places(h, w)
    edge = side_of_a_circle(n, gy, gx, torch.rand(n, 2, device=DEV) * torch.tensor([w, h], device=DEV) / max(h, w), any_direction(n))
    shade = 1 - rand(n, 0.3, 0.85) * torch.sigmoid(edge[:, None] / torch.exp(rand(n, *np.log((0.002, 0.05)))))
    x = some(n, 0.15, x * shade, x)
    vig = torch.linspace(-1, 1, w, device=DEV).view(1, 1, 1, w) ** 2 + torch.linspace(-1, 1, h, device=DEV).view(1, 1, h, 1) ** 2
    x = x * (1 - rand(n, -0.05, 0.25) * vig)
    veil = surroundings(x.clamp_max(2), 48) * rand(n, 0.6, 1.5) + rand(n, 0, 0.15)
    x = some(n, 0.2, torch.lerp(x, veil, rand(n, 0.05, 0.55)), x)
    return blur(x, rand(n, 0.2, 1.0) * torch.where(torch.rand(n, 1, 1, 1, device=DEV) < 0.15, 2.0, 1.0))


def developed(x):
    """Linear light → what the camera keeps: tone curve, local contrast, halos, colour, noise."""
    n = len(x)
    x = x.clamp_min(0)
    x = x / (1 + rand(n, 0, 0.5) * x)
    x = x.clamp(0, 1) ** (1 / rand(n, 1.9, 2.5))
    x = torch.lerp(x, x * x * (3 - 2 * x), rand(n, -0.1, 0.6))
    x = some(n, 0.3, x ** torch.exp(rand(n, -0.6, 0.6)), x)
    around = surroundings(x.mean(1, keepdim=True), 24).clamp_min(0.02)
    x = some(n, 0.25, (x + (x - around) * rand(n, -0.3, 0.8)) * (0.4 / around) ** rand(n, 0, 0.6), x)
    x = some(n, 0.35, x + (x - blur(x, rand(n, 0.6, 2.0))) * rand(n, 0.3, 1.6), x).clamp(0, 1)
    g = x.mean(1, keepdim=True)
    x = g + (x - g) * rand(n, 0.55, 1.4)
    return x + torch.randn_like(x) * rand(n, 0, 0.03)


def sent_on(x):
    """Made smaller and large again, colour coarser than light, compressed, once or twice."""
    n, _, h, w = x.shape
    factor = float(torch.empty(()).uniform_(1.2, 2.4))
    less = F.interpolate(F.interpolate(x, scale_factor=1 / factor, mode="bilinear", antialias=True, align_corners=False), size=(h, w), mode="bilinear", align_corners=False)
    x = some(n, 0.2, less, x)
    g = x.mean(1, keepdim=True)
    coarse = F.interpolate(F.avg_pool2d(x - g, 2), scale_factor=2, mode="bilinear", align_corners=False)
    x = some(n, 0.4, g + coarse, x)
    x = some(n, 0.6, jpeg(x.clamp(0, 1), rand(n, 0.1, 1.2)), x)
    return some(n, 0.15, jpeg(x.clamp(0, 1), rand(n, 0.5, 2.0)), x).clamp(0, 1)
